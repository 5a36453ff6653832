"""The built-in drives of the registry: a block storage device and its whole medium."""

from collections.abc import Iterator

from fadewatch_agent.readers.drives import DrivesReading
from fadewatch_agent.readers.files import clean
from fadewatch_agent.readers.macos.entry import flag, part, positive, text
from fadewatch_agent.readers.macos.programs import (
    Entry,
    ProgramFailed,
    Run,
    registry,
)
from fadewatch_common.report import MAX_DRIVES, Drive, DriveKind

CLASS = "IOBlockStorageDevice"

_CHILDREN = "IORegistryEntryChildren"
_DEEPEST = 4
"""Levels below a device at which its medium may stand: a driver lies between."""
_NAME_LENGTH = 64
_NVME_INTERCONNECTS = ("PCI-Express", "Apple Fabric")
"""Physical interconnects of NVMe drives (from memory)."""


def read_drives(run: Run) -> DrivesReading:
    """Read the drives that are part of the laptop."""
    try:
        # -l also shows what is known of the media below the devices.
        devices = registry(run, CLASS, "-l")
    except ProgramFailed as error:
        return DrivesReading((), (f"drives: {error}",))
    found = [drive for device in devices for drive in _drives(device)]
    beyond = (f"{drive.name}: one drive too many" for drive in found[MAX_DRIVES:])
    return DrivesReading(tuple(found[:MAX_DRIVES]), tuple(beyond))


def _drives(device: Entry) -> Iterator[Drive]:
    protocol = part(device, "Protocol Characteristics")
    # What is plugged in says External; a disk image says File.
    if text(protocol, "Physical Interconnect Location") != "Internal":
        return
    told = part(device, "Device Characteristics")
    for medium in _media(device, _DEEPEST):
        if flag(medium, "Removable") is True or flag(medium, "Whole") is False:
            continue
        yield Drive(
            name=text(medium, "BSD Name", _NAME_LENGTH) or "unnamed",
            size_bytes=positive(medium, "Size") or 0,
            kind=_kind(protocol, told),
            model=_model(told),
            serial=text(told, "Serial Number"),
        )


def _media(entry: Entry, levels: int) -> Iterator[Entry]:
    """Yield the media next below an entry, and none below those."""
    children = entry.get(_CHILDREN)
    for child in children if isinstance(children, list) else ():
        if not isinstance(child, dict):
            continue
        if text(child, "IOObjectClass") == "IOMedia":
            yield child
        elif levels > 1:
            yield from _media(child, levels - 1)


def _kind(protocol: Entry, told: Entry) -> DriveKind:
    if text(protocol, "Physical Interconnect") in _NVME_INTERCONNECTS:
        return "nvme"
    kinds: dict[str | None, DriveKind] = {"Solid State": "ssd", "Rotational": "hdd"}
    return kinds.get(text(told, "Medium Type"), "unknown")


def _model(told: Entry) -> str | None:
    vendor, product = text(told, "Vendor Name"), text(told, "Product Name")
    return clean(" ".join(filter(None, (vendor, product))))
