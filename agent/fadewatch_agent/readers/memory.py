"""The laptop's memory, slot by slot where the firmware tells."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from fadewatch_agent.readers.files import SystemFiles, read_bytes, reason
from fadewatch_agent.readers.smbios import Structure, Tables
from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import MAX_MEMORY_SLOTS, Memory, MemorySlot

_ARRAY = 16
_DEVICE = 17
_SYSTEM_MEMORY = 3
_KIB_IN_MIB = 1024

_SIZE_UNKNOWN = 0xFFFF
_SIZE_EXTENDED = 0x7FFF
_SIZE_IN_KIB = 0x8000
_SPEED_EXTENDED = 0xFFFF
_LOW_31_BITS = 0x7FFF_FFFF

_KINDS = {
    0x03: "DRAM",
    0x04: "EDRAM",
    0x05: "VRAM",
    0x06: "SRAM",
    0x07: "RAM",
    0x08: "ROM",
    0x09: "flash",
    0x0A: "EEPROM",
    0x0B: "FEPROM",
    0x0C: "EPROM",
    0x0D: "CDRAM",
    0x0E: "3DRAM",
    0x0F: "SDRAM",
    0x10: "SGRAM",
    0x11: "RDRAM",
    0x12: "DDR",
    0x13: "DDR2",
    0x14: "DDR2 FB-DIMM",
    0x18: "DDR3",
    0x19: "FBD2",
    0x1A: "DDR4",
    0x1B: "LPDDR",
    0x1C: "LPDDR2",
    0x1D: "LPDDR3",
    0x1E: "LPDDR4",
    0x1F: "logical non-volatile",
    0x20: "HBM",
    0x21: "HBM2",
    0x22: "DDR5",
    0x23: "LPDDR5",
    0x24: "HBM3",
}
"""Memory types (DSP0134, 7.18.2); 1 is "other" and 2 "unknown"."""

_UNTOLD_KINDS = (0, 1, 2)

_SOLDERED = {
    0x05: True,  # chip
    0x0A: True,  # die
    0x0B: True,  # row of chips
    0x03: False,  # SIMM
    0x09: False,  # DIMM
    0x0D: False,  # SODIMM
    0x0F: False,  # FB-DIMM
    0x11: False,  # CAMM
}
"""Whether a form factor (DSP0134, 7.18.1) is fixed to the board."""

_DIMMS = (0x09, 0x0D)

USABLE_ALONE = (
    "memory: the total is what the kernel may use, a little below what is fitted"
)


class MemoryReading(NamedTuple):
    """The memory and what could not be told of it."""

    memory: Memory | None
    remarks: tuple[str, ...] = ()


class Total(NamedTuple):
    """A total from elsewhere than the tables.

    Attributes
    ----------
    mib
        The total [MiB]; 0 when it cannot be told.
    remark
        What to say where this total is used, or why there is none; may be empty.
    """

    mib: int
    remark: str = ""


def read_memory(files: SystemFiles, tables: Tables | None) -> MemoryReading:
    """Read the slots from the tables, and the total from them or from the kernel."""
    return memory_from(tables, lambda: _usable(files))


def memory_from(tables: Tables | None, elsewhere: Callable[[], Total]) -> MemoryReading:
    """Take slots and total from the tables; the total from elsewhere if need be.

    Parameters
    ----------
    tables
        The firmware's tables, or None.
    elsewhere
        Asked when the tables do not tell the whole memory.
    """
    slots, remarks = memory_slots(tables) if tables else ((), ())
    installed = sum(slot.size_mib for slot in slots)
    if installed and not remarks:
        return MemoryReading(Memory(total_mib=installed, slots=slots))
    other = elsewhere()
    total = max(installed, other.mib)
    used = other.remark and total > installed
    if not total or used:
        remarks = (*remarks, other.remark)
    return MemoryReading(
        Memory(total_mib=total, slots=slots) if total else None, remarks
    )


def memory_slots(
    tables: Tables,
) -> tuple[tuple[MemorySlot, ...], tuple[str, ...]]:
    """Return the slots of system memory, and what could not be told of them."""
    devices = tuple(_system_devices(tables))
    remarks = [
        f"memory: size of {_locator(device)} unknown"
        for device in devices
        if size_mib(device) is None
    ]
    if len(devices) > MAX_MEMORY_SLOTS:
        remarks.append(f"memory: {len(devices)} slots, more than a report holds")
    slots = (_slot(d, size) for d in devices if (size := size_mib(d)) is not None)
    return tuple(slots)[:MAX_MEMORY_SLOTS], tuple(remarks)


def size_mib(device: Structure) -> int | None:
    """Return a memory device's size [MiB]: 0 for an empty slot, None if unknown."""
    size = device.number(0x0C, 2)
    if size is None or size == _SIZE_UNKNOWN:
        return None
    if size == _SIZE_EXTENDED:
        extended = device.number(0x1C, 4)
        return None if extended is None else (extended & _LOW_31_BITS) or None
    if size & _SIZE_IN_KIB:
        return (size & ~_SIZE_IN_KIB) // _KIB_IN_MIB or None
    return size


def _system_devices(tables: Tables) -> Iterator[Structure]:
    """Yield the memory devices, without those of video or flash arrays."""
    others = {
        array.handle
        for array in tables.of_kind(_ARRAY)
        if array.number(0x05, 1) != _SYSTEM_MEMORY
    }
    for device in tables.of_kind(_DEVICE):
        if device.number(0x04, 2) not in others:
            yield device


def _slot(device: Structure, size: int) -> MemorySlot:
    if size == 0:
        return MemorySlot(locator=_locator(device), size_mib=0)
    kind = _kind(device)
    return MemorySlot(
        locator=_locator(device),
        size_mib=size,
        kind=kind,
        speed_mts=_speed_mts(device),
        maker=_told(device.text(0x17)),
        part=_told(device.text(0x1A)),
        soldered=_is_soldered(device, kind),
    )


def _locator(device: Structure) -> str:
    name = device.text(0x10) or f"memory {device.handle:#06x}"
    return name[:64]


def _told(text: str | None) -> str | None:
    return None if is_placeholder(text) else text


def _kind(device: Structure) -> str | None:
    code = device.number(0x12, 1) or 0
    if code in _UNTOLD_KINDS:
        return None
    return _KINDS.get(code, f"type {code:#04x}")


def _speed_mts(device: Structure) -> int | None:
    """Return the speed it runs at [MT/s], or the one it is made for."""
    return _speed(device, 0x20, 0x58) or _speed(device, 0x15, 0x54)


def _speed(device: Structure, offset: int, extended: int) -> int | None:
    speed = device.number(offset, 2)
    if speed == _SPEED_EXTENDED:
        speed = (device.number(extended, 4) or 0) & _LOW_31_BITS
    return speed or None


def _is_soldered(device: Structure, kind: str | None) -> bool | None:
    form = device.number(0x0E, 1) or 0
    # Low-power memory comes soldered or on a CAMM; firmware that calls it a DIMM
    # is wrong about one of the two.
    if form in _DIMMS and (kind or "").startswith("LPDDR"):
        return None
    return _SOLDERED.get(form)


def _usable(files: SystemFiles) -> Total:
    """Return MemTotal [MiB], 0 with the reason when it cannot be read."""
    try:
        lines = read_bytes(files.proc / "meminfo").splitlines()
    except OSError as error:
        return Total(0, f"memory: /proc/meminfo: {reason(error)}")
    for line in lines:
        words = line.split()
        # Labelled kB, counted in KiB (Linux, Documentation/filesystems/proc.rst).
        if words[:1] == [b"MemTotal:"] and len(words) > 1 and words[1].isdigit():
            return Total(int(words[1][:18]) // _KIB_IN_MIB, USABLE_ALONE)
    return Total(0, "memory: /proc/meminfo names no total")
