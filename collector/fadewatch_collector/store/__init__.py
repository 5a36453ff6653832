"""Tables, queries and migrations: the only place that knows SQL."""
