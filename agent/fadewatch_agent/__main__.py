"""``fadewatch-agent`` and ``python -m fadewatch_agent``."""

import gc

# The process lives for a moment: looking for cycles would cost more than it frees.
gc.disable()

import sys  # noqa: E402

from fadewatch_agent import cli  # noqa: E402


def main() -> int:
    """Run the command line and return the exit code."""
    code = cli.main()
    # Nor is there a reason to look for them at the end.
    gc.freeze()
    return code


if __name__ == "__main__":
    sys.exit(main())
