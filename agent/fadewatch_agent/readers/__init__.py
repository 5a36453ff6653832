"""What the operating system says, one file a subject."""
