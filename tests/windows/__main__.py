"""``python -m tests.windows``: have Wine and its Python ready, or say why not."""

import sys

from tests.windows.wine import NoWineError, ready_wine


def main() -> int:
    """Fetch and make what is missing, outside the time that a test may take."""
    try:
        print(ready_wine().python)
    except NoWineError as reason:
        print(f"no Windows Python on Wine here: {reason}")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
