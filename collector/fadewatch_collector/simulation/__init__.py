"""Simulated pack histories with known truth; pure: seed and day are arguments."""
