"""Keep the fleet's history, assess every pack and show what to do."""
