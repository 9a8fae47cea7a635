"""A regular package, so that a stray `tests` among the installed libraries cannot stand in for it."""
