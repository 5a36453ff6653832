"""Read a laptop's packs, memory and drives, and deliver the reading."""
