"""The page of memory through which a pack is pulled or fitted.

It holds what a laptop's embedded controller would know. The firmware's methods read
it; before the boot it is filled by the test, and in the guest, where this file is the
command ``bay``, by root through /dev/mem.
"""

import os
import socket
import sys
from contextlib import closing
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

# ACPI 6.0, 5.6.6, values for a control-method battery: changed information makes the
# kernel read _BIX again, a changed status (0x80) only _BST.
INFORMATION_CHANGED = 0x81

SUPPLIES = Path("/sys/class/power_supply")
SLOTS = 16
# Linux, include/uapi/linux/netlink.h: NETLINK_KOBJECT_UEVENT.
_KERNEL_MESSAGES = 15
_PATIENCE_SECONDS = 20

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


def _read(memory: int, offset: int) -> int:
    return os.pread(memory, 1, PAGE_ADDRESS + offset)[0]


def _write(memory: int, offset: int, value: int) -> None:
    os.pwrite(memory, bytes([value]), PAGE_ADDRESS + offset)


def _awaited(memory: int, changes: dict[int, int]) -> set[str]:
    """Return the kernel's messages after which the changes are seen by everyone."""
    awaited = set()
    for slot in range(SLOTS):
        fitted = changes.get(fitted_offset(slot))
        if fitted is None or not _read(memory, notify_offset(slot)):
            continue
        if fitted:
            awaited.add(f"change BAT{slot}")
        elif (SUPPLIES / f"BAT{slot}").exists():
            awaited.add(f"remove BAT{slot}")
    return awaited


def _announce(memory: int) -> None:
    """Have the kernel evaluate a method, so that the firmware can announce."""
    _write(memory, GENERATION, (_read(memory, GENERATION) + 1) % 256)
    for online in SUPPLIES.glob("*/online"):
        online.read_text()


def _wait(messages: socket.socket, awaited: set[str]) -> None:
    while awaited:
        action, _, device = messages.recv(65536).split(b"\0")[0].partition(b"@")
        awaited.discard(f"{action.decode()} {Path(os.fsdecode(device)).name}")


def _change(changes: dict[int, int]) -> None:
    messages = socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, _KERNEL_MESSAGES)
    memory = os.open("/dev/mem", os.O_RDWR)
    with closing(messages):
        messages.bind((0, 1))
        messages.settimeout(_PATIENCE_SECONDS)
        for offset, value in changes.items():
            _write(memory, offset, value)
        awaited = _awaited(memory, changes)
        _announce(memory)
        _wait(messages, awaited)


def main(arguments: list[str]) -> int:
    """Apply the settings named on the command line and announce the change."""
    try:
        pairs = [argument.split("=", 1) for argument in arguments]
        changes = {_offset(name): int(value, 0) for name, value in pairs}
    except (KeyError, ValueError):
        sys.stderr.write(USAGE)
        return 2
    _change(changes)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
