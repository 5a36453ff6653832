"""The table of routes, by subject."""
