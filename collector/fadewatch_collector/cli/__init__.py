"""Commands of the collector."""
