"""What Windows says, through its own libraries and without administrator rights."""
