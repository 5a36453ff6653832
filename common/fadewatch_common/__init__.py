"""What agent and collector share: the report, units, wear and policy."""

__version__ = "0.1.0"
