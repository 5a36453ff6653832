"""What the proof of the deployment consists of."""
