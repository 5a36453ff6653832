"""JSON for agents and operators."""
