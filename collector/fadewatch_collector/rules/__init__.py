"""Pure decisions: figures become bands, concerns and sentences."""
