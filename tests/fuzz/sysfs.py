"""The readers of /sys and /proc, fed with any bytes in any file.

An input is the files' contents one after the other, each ended by FF 00; a file whose
content is FE alone is missing.
"""

import shutil
import tempfile
from pathlib import Path

from fadewatch_agent.readers.files import SystemFiles
from fadewatch_agent.readers.linux import LinuxMachine
from fadewatch_agent.readers.snapshot import SINGLE_FILES
from fadewatch_agent.reading import take_reading
from tests.fuzz.driver import run
from tests.fuzz.sound import MOMENT, assert_sound, no_pause

END, MISSING = b"\xff\x00", b"\xfe"

_PACKS = ("BAT0", "BAT1")
_SUPPLY = ("type", "scope", "charge_control_end_threshold", *SINGLE_FILES)
PATHS = (
    *(f"sys/class/power_supply/{pack}/uevent" for pack in _PACKS),
    "proc/meminfo",
    "proc/sys/kernel/hostname",
    "sys/class/power_supply/AC/type",
    "sys/class/power_supply/AC/online",
    *(
        f"sys/block/{drive}/{name}"
        for drive in ("nvme0n1", "sda", "mmcblk0")
        for name in (
            "size",
            "removable",
            "queue/rotational",
            "device/model",
            "device/serial",
            "device/vpd_pg80",
            "device/name",
            "device/type",
            "device/transport",
        )
    ),
    *(
        f"sys/class/dmi/id/{name}"
        for name in (
            "sys_vendor",
            "product_name",
            "product_serial",
            "product_uuid",
            "chassis_type",
        )
    ),
    "sys/firmware/dmi/tables/DMI",
    *(f"sys/class/power_supply/BAT0/{name}" for name in _SUPPLY),
)
"""What an input fills, in its order."""


class Tree:
    """One saved tree in memory, of which only what changes is written."""

    def __init__(self) -> None:
        memory = Path("/dev/shm")  # noqa: S108  a file system in memory, if there is one
        place = memory if memory.is_dir() else None
        self.root = Path(tempfile.mkdtemp(prefix="fadewatch-tree-", dir=place))
        self._now: dict[str, bytes | None] = {}
        for path in PATHS:
            (self.root / path).parent.mkdir(parents=True, exist_ok=True)

    def become(self, data: bytes) -> None:
        """Write the tree that an input describes."""
        parts = data.split(END)
        for number, path in enumerate(PATHS):
            part = parts[number] if number < len(parts) else MISSING
            content = None if part == MISSING else part
            if path in self._now and self._now[path] == content:
                continue
            self._now[path] = content
            if content is None:
                (self.root / path).unlink(missing_ok=True)
            else:
                (self.root / path).write_bytes(content)

    def remove(self) -> None:
        """Take the tree away."""
        shutil.rmtree(self.root)


_TREES: list[Tree] = []


def check(data: bytes) -> None:
    """Read the laptop that an input describes."""
    if not _TREES:
        _TREES.append(Tree())
    (tree,) = _TREES
    tree.become(data)
    machine = LinuxMachine(SystemFiles(tree.root))
    reading = take_reading(machine, MOMENT, None, no_pause)
    assert_sound(reading.report)


def remove_tree() -> None:
    """Take away what the last inputs were written to."""
    while _TREES:
        _TREES.pop().remove()


if __name__ == "__main__":
    run("sysfs")
