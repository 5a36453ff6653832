"""``python -m tests.kernel``: build the guest's image now, and say where it is."""

import sys

from tests.kernel.image import ready_image
from tests.kernel.packages import KernelTestsUnavailableError
from tests.kernel.systemd_layer import ready_layer


def main() -> int:
    """Have the image ready before the tests' own limits of time apply."""
    try:
        print(ready_image().base.parent)
        print(ready_layer())
    except KernelTestsUnavailableError as reason:
        print(f"no emulated kernel here: {reason}")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
