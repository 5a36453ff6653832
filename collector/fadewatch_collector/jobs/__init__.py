"""What the clock starts."""
