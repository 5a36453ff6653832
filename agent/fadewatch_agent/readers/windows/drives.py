"""The built-in drives, without administrator rights.

A drive is opened with no access at all: the control codes used here ask for none, so
everyone may send them. Serials are kept as the driver gives them; some give the
hexadecimal form, which identifies as well.
"""

from typing import NamedTuple

from fadewatch_agent.readers.drives import DrivesReading
from fadewatch_agent.readers.files import clean
from fadewatch_agent.readers.windows import layout
from fadewatch_agent.readers.windows.calls import (
    LONGEST_REPLY,
    CallFailed,
    Calls,
    Device,
    OddReply,
    decoded,
)
from fadewatch_agent.readers.windows.packs import slot_name
from fadewatch_common.report import MAX_DRIVES, Drive, DriveKind

_NO_ACCESS = 0
_ROOM = 1024
_FIXED_PART = layout.STORAGE_DEVICE_DESCRIPTOR.RawDeviceProperties.offset
_OUTSIDE = frozenset(
    {
        layout.BUS_1394,
        layout.BUS_FIBRE,
        layout.BUS_USB,
        layout.BUS_ISCSI,
        layout.BUS_SD,
        layout.BUS_VIRTUAL,
        layout.BUS_FILE_BACKED_VIRTUAL,
        layout.BUS_SPACES,
    }
)
"""Buses of what is plugged in, far away, or made of other drives."""

_PROTOCOLS = ("ATA", "NVME")
"""What drivers put in place of a vendor (from memory)."""


class _Found(NamedTuple):
    number: int
    drive: Drive


def read_drives(calls: Calls) -> DrivesReading:
    """Read the drives that are part of the laptop, in Windows's own order."""
    try:
        paths = calls.paths(layout.GUID_DEVINTERFACE_DISK)
    except CallFailed as error:
        return DrivesReading((), (f"drives: {error}",))
    found: list[_Found] = []
    remarks = [f"drives: {error}" for error in paths.failed]
    for path in paths.found:
        try:
            with calls.opened(path, _NO_ACCESS) as device:
                found += _read(device)
        except (CallFailed, OddReply) as error:
            remarks.append(f"{slot_name(path)}: {error}")
    found.sort(key=lambda one: one.number)
    beyond = (f"{one.drive.name}: one drive too many" for one in found[MAX_DRIVES:])
    kept = tuple(one.drive for one in found[:MAX_DRIVES])
    return DrivesReading(kept, (*remarks, *beyond))


def _read(device: Device) -> list[_Found]:
    """Return the drive, or nothing when it is no part of the laptop."""
    raw = _property(device, layout.STORAGE_DEVICE_PROPERTY)
    # Without texts and raw properties it ends before its last, padded field.
    told = decoded(layout.STORAGE_DEVICE_DESCRIPTOR, raw, _FIXED_PART)
    if told.RemovableMedia or told.BusType in _OUTSIDE:
        return []
    number = _number(device)
    drive = Drive(
        name=f"PhysicalDrive{number}",
        size_bytes=_size_bytes(device),
        kind=_kind(device, told.BusType),
        model=model(raw, told),
        serial=text_at(raw, told.SerialNumberOffset),
    )
    return [_Found(number, drive)]


def model(raw: bytes, told: layout.STORAGE_DEVICE_DESCRIPTOR) -> str | None:
    """Return vendor and product in one text."""
    vendor = text_at(raw, told.VendorIdOffset)
    product = text_at(raw, told.ProductIdOffset)
    if vendor is None or vendor.upper() in _PROTOCOLS:
        return product
    return vendor if product is None else clean(f"{vendor} {product}")


def text_at(raw: bytes, offset: int) -> str | None:
    """Return the text at an offset of a descriptor; None where there is none."""
    if not 0 < offset < len(raw):
        return None
    return clean(raw[offset:].partition(b"\0")[0])


def _property(device: Device, which: int) -> bytes:
    """Ask for a whole property: its first answer tells how long it is."""
    request = bytes(layout.STORAGE_PROPERTY_QUERY(PropertyId=which))
    code = layout.IOCTL_STORAGE_QUERY_PROPERTY
    raw = device.ask(code, request, _ROOM)
    size = int.from_bytes(raw[4:8], "little")
    if _ROOM < size <= LONGEST_REPLY and len(raw) < size:
        raw = device.ask(code, request, size)
    return raw


def _number(device: Device) -> int:
    raw = device.ask(layout.IOCTL_STORAGE_GET_DEVICE_NUMBER, b"", _ROOM)
    return int(decoded(layout.STORAGE_DEVICE_NUMBER, raw).DeviceNumber)


def _size_bytes(device: Device) -> int:
    raw = device.ask(layout.IOCTL_DISK_GET_DRIVE_GEOMETRY_EX, b"", _ROOM)
    end = layout.DISK_GEOMETRY_EX.Data.offset
    return int(decoded(layout.DISK_GEOMETRY_EX, raw, end).DiskSize)


def _kind(device: Device, bus: int) -> DriveKind:
    if bus == layout.BUS_NVME:
        return "nvme"
    if bus == layout.BUS_MMC:
        return "emmc"
    try:
        raw = _property(device, layout.STORAGE_DEVICE_SEEK_PENALTY_PROPERTY)
        penalty = layout.DEVICE_SEEK_PENALTY_DESCRIPTOR.IncursSeekPenalty
        least = penalty.offset + penalty.size
        told = decoded(layout.DEVICE_SEEK_PENALTY_DESCRIPTOR, raw, least)
    except (CallFailed, OddReply):
        return "unknown"
    return "hdd" if told.IncursSeekPenalty else "ssd"
