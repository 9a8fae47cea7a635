"""What each address answers; one module per noun."""
