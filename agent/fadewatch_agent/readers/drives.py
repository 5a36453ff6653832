"""The built-in drives of /sys/block."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from fadewatch_agent.readers.files import (
    SystemFiles,
    clean,
    read_bytes,
    read_number,
    read_text,
)
from fadewatch_common.report import MAX_DRIVES, Drive, DriveKind

SECTOR_BYTES = 512
"""/sys/block/*/size counts 512 bytes whatever the drive's own sectors (from memory)."""

_NOT_DRIVES = ("loop", "ram", "zram", "dm-", "md", "sr", "fd", "nbd")
_NAME_LENGTH = 64
_PAGE_HEADER = 4
"""Bytes before the text of a SCSI vital-product-data page (SPC, page 80h)."""


class DrivesReading(NamedTuple):
    """The drives and what could not be told of them."""

    drives: tuple[Drive, ...]
    remarks: tuple[str, ...] = ()


def read_drives(files: SystemFiles) -> DrivesReading:
    """Read the drives that are part of the laptop."""
    found = list(_drives(files))
    kept, beyond = found[:MAX_DRIVES], found[MAX_DRIVES:]
    remarks = (f"{drive.name}: one drive too many" for drive in beyond)
    return DrivesReading(tuple(kept), tuple(remarks))


def _drives(files: SystemFiles) -> Iterator[Drive]:
    for folder in files.folders("block"):
        if is_built_in(folder, files.sys):
            yield _drive(folder)


def is_built_in(folder: Path, top: Path) -> bool:
    """Say whether a block device under a /sys is a drive of the laptop itself."""
    if folder.name.startswith(_NOT_DRIVES) or _is_part_of_emmc(folder.name):
        return False
    if read_number(folder / "removable") == 1 or read_number(folder / "hidden") == 1:
        return False
    # A card in a reader says SD; the soldered kind says MMC.
    if folder.name.startswith("mmcblk") and read_text(folder / "device/type") == "SD":
        return False
    transport = read_text(folder / "device/transport")
    if transport is not None and transport != "pcie":
        return False
    return not _hangs_outside(folder, top) and bool(read_number(folder / "size"))


def _is_part_of_emmc(name: str) -> bool:
    return name.startswith("mmcblk") and ("boot" in name or "rpmb" in name)


def _hangs_outside(folder: Path, top: Path) -> bool:
    """Say whether it hangs on USB or the network, or is made of other drives."""
    parts = os.path.relpath(os.path.realpath(folder), os.path.realpath(top)).split("/")
    return "virtual" in parts or any(p.startswith(("usb", "session")) for p in parts)


def _drive(folder: Path) -> Drive:
    device = folder / "device"
    sectors = read_number(folder / "size") or 0
    return Drive(
        name=clean(folder.name, _NAME_LENGTH) or "unnamed",
        size_bytes=sectors * SECTOR_BYTES,
        kind=_kind(folder),
        model=read_text(device / "model") or _emmc_name(folder),
        serial=read_text(device / "serial") or _page_serial(device / "vpd_pg80"),
    )


def _kind(folder: Path) -> DriveKind:
    if folder.name.startswith("nvme"):
        return "nvme"
    if folder.name.startswith("mmcblk"):
        return "emmc"
    if not folder.name.startswith("sd"):
        return "unknown"
    rotational = read_number(folder / "queue/rotational")
    if rotational is None:
        return "unknown"
    return "hdd" if rotational else "ssd"


def _emmc_name(folder: Path) -> str | None:
    if not folder.name.startswith("mmcblk"):
        return None
    return read_text(folder / "device/name")


def _page_serial(path: Path) -> str | None:
    """Return the serial that a SATA or SCSI drive gives in its page 80h."""
    try:
        return clean(read_bytes(path)[_PAGE_HEADER:])
    except OSError:
        return None
