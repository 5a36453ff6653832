"""``fadewatch-agent`` and ``python -m fadewatch_agent``."""

import sys

from fadewatch_agent.cli import main

__all__ = ["main"]

if __name__ == "__main__":
    sys.exit(main())
