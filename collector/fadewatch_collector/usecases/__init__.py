"""One file for each use case."""
