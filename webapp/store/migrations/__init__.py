"""One Alembic script for each layout of the database, in order; a script that has been released never changes."""
