"""The page of memory through which a pack is pulled or fitted.

It holds what a laptop's embedded controller would know. The firmware's methods read
it; before the boot it is filled by the test, and in the guest, where this file is the
command ``bay``, by root through /dev/mem.
"""

import os
import sys
import time
from pathlib import Path

# In the guest's memory, below the kernel, kept out of its use by memmap=.
PAGE_ADDRESS = 0x00A0_0000
PAGE_BYTES = 0x100

# Any change of GENERATION makes the firmware announce every bay at the next
# evaluation of a method.
GENERATION = 0x00
MAINS = 0x01
_FIRST_BAY = 0x10
_BAY_BYTES = 0x02

# ACPI 6.0, 5.6.6, values for a control-method battery: a changed status makes the
# kernel read _BST again, changed information makes it read _BIX too.
STATUS_CHANGED = 0x80
INFORMATION_CHANGED = 0x81

USAGE = """\
usage: bay [mains=0|1] [SLOT.fitted=K] [SLOT.notify=CODE] ...

SLOT counts the bays from 0. fitted: 0 pulls the pack, K fits the K-th that the bay may
hold. notify: the code announced afterwards, 0x80 or 0x81, or 0 to say nothing.
"""


def fitted_offset(slot: int) -> int:
    """Return where the page says which pack is fitted in a bay."""
    return _FIRST_BAY + _BAY_BYTES * slot


def notify_offset(slot: int) -> int:
    """Return where the page says how a bay announces a change."""
    return fitted_offset(slot) + 1


def _offset(name: str) -> int:
    if name == "mains":
        return MAINS
    slot, _, field = name.partition(".")
    return {"fitted": fitted_offset, "notify": notify_offset}[field](int(slot))


def _write(memory: int, offset: int, value: int) -> None:
    os.pwrite(memory, bytes([value]), PAGE_ADDRESS + offset)


def _apply(changes: dict[int, int]) -> None:
    memory = os.open("/dev/mem", os.O_RDWR)
    for offset, value in changes.items():
        _write(memory, offset, value)
    generation = os.pread(memory, 1, PAGE_ADDRESS + GENERATION)[0]
    _write(memory, GENERATION, (generation + 1) % 256)
    os.close(memory)


def _announce() -> None:
    """Have the kernel evaluate a method, so that the firmware can announce."""
    for online in Path("/sys/class/power_supply").glob("*/online"):
        online.read_text()
    # The announcement is handled on a kernel work queue that nothing can wait for.
    time.sleep(0.3)


def main(arguments: list[str]) -> int:
    """Apply the settings named on the command line and announce the change."""
    try:
        pairs = [argument.split("=", 1) for argument in arguments]
        changes = {_offset(name): int(value, 0) for name, value in pairs}
    except (KeyError, ValueError):
        sys.stderr.write(USAGE)
        return 2
    _apply(changes)
    _announce()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
