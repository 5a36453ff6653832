"""The readers of /sys and /proc, fed with any bytes in any file.

An input is the files' contents one after the other, each ended by FF 00; a file whose
content is FE alone is missing.
"""

from pathlib import Path
from typing import cast

from fadewatch_agent.readers.files import SystemFiles
from fadewatch_agent.readers.linux import LinuxMachine
from fadewatch_agent.readers.snapshot import SINGLE_FILES
from fadewatch_agent.reading import take_reading
from tests.fuzz.driver import run
from tests.fuzz.memory_tree import Files
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


def check(data: bytes) -> None:
    """Read the laptop that an input describes."""
    parts = data.split(END)
    tree = {p: held for p, held in zip(PATHS, parts, strict=False) if held != MISSING}
    # Stands in for a Path in all that the readers ask of one.
    root = cast("Path", Files({"sys/class/power_supply/none": b"", **tree}).root)
    machine = LinuxMachine(SystemFiles(root))
    reading = take_reading(machine, MOMENT, None, no_pause)
    assert_sound(reading.report)


if __name__ == "__main__":
    run("sysfs")
