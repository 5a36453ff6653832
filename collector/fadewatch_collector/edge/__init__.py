"""What pages and API share of a request: its id, and who asks from where."""
