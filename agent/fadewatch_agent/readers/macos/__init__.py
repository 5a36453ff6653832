"""What macOS says, by the programs that it brings along."""
