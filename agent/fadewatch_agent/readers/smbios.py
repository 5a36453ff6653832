"""A strict decoder of SMBIOS structures. Pure: bytes in, records out.

References
----------
DMTF DSP0134, *System Management BIOS Reference Specification*, 3.8.0. Clause 6.1.2
for the header, 6.1.3 for text strings, 7.x for the structures.
"""

from collections.abc import Iterable
from typing import NamedTuple

from fadewatch_agent.errors import DamagedTables
from fadewatch_agent.readers.files import clean

HEADER = 4
"""Bytes of a structure's header: type, length, handle."""

END_OF_TABLE = 127

_UUID_BYTES = 16

_SMBIOS_2_6 = (2, 6)
"""First version with the UUID's first three fields in little-endian order."""

_ENTRY_POINTS = (
    # anchor, least length, offset of the major version
    (b"_SM3_", 0x18, 0x07),
    (b"_SM_", 0x1F, 0x06),
)


class Structure(NamedTuple):
    """One structure: its formatted part, header included, and its strings."""

    kind: int
    handle: int
    formatted: bytes
    strings: tuple[bytes, ...]

    def number(self, offset: int, size: int) -> int | None:
        """Return a little-endian number; None past the structure's length."""
        field = self.formatted[offset : offset + size]
        return int.from_bytes(field, "little") if len(field) == size else None

    def text(self, offset: int) -> str | None:
        """Return the string that a field names; None when it names none."""
        index = self.number(offset, 1)
        if not index or index > len(self.strings):
            return None
        return clean(self.strings[index - 1])


class Tables(NamedTuple):
    """The structures before the end, in the order they came.

    Attributes
    ----------
    damage
        Why the walk stopped before the end of the table, or None.
    """

    structures: tuple[Structure, ...]
    damage: DamagedTables | None = None

    def of_kind(self, kind: int) -> tuple[Structure, ...]:
        """Return the structures of one type, wherever they stand."""
        return tuple(s for s in self.structures if s.kind == kind)


def decode(table: bytes) -> Tables:
    """Walk a table up to its end mark (type 127) or its last byte.

    What stands before a damaged place is kept, and the damage is named.

    Raises
    ------
    DamagedTables
        Not one structure can be read.
    """
    found: list[Structure] = []
    offset = 0
    while offset < len(table):
        try:
            structure, offset = _structure_at(table, offset)
        except DamagedTables as damage:
            if not found:
                raise
            return Tables(tuple(found), damage)
        if structure.kind == END_OF_TABLE:
            break
        found.append(structure)
    if not found:
        raise DamagedTables(offset, "no structure was found")
    return Tables(tuple(found))


def _structure_at(table: bytes, start: int) -> tuple[Structure, int]:
    """Return the structure at an offset and the offset after it."""
    header = table[start : start + HEADER]
    if len(header) < HEADER:
        raise DamagedTables(start, "a header is cut off")
    length = header[1]
    if length < HEADER:
        raise DamagedTables(start, f"a structure claims a length of {length}")
    formatted = table[start : start + length]
    if len(formatted) < length:
        raise DamagedTables(start, "a structure is cut off")
    # Strings end with an extra NUL; a structure without strings has two NULs.
    end = table.find(b"\0\0", start + length)
    if end < 0:
        raise DamagedTables(start, "the strings of a structure have no end")
    strings = table[start + length : end]
    split = tuple(strings.split(b"\0")) if strings else ()
    handle = int.from_bytes(header[2:], "little")
    return Structure(header[0], handle, formatted, split), end + 2


def version(entry_point: bytes) -> tuple[int, int] | None:
    """Return the major and minor version of an entry point; None if it is none."""
    for anchor, least, offset in _ENTRY_POINTS:
        if entry_point.startswith(anchor) and len(entry_point) >= least:
            return entry_point[offset], entry_point[offset + 1]
    return None


def uuid_text(raw: bytes, smbios: tuple[int, int] | None) -> str | None:
    """Return a UUID's text; None when it is unset (all zero or all one bits).

    Before 2.6 the byte order was not fixed; network order is assumed, as Linux does
    (drivers/firmware/dmi_scan.c). Without a version the newer rule holds.
    """
    if len(raw) != _UUID_BYTES or (len(set(raw)) == 1 and raw[0] in (0x00, 0xFF)):
        return None
    if smbios is None or smbios >= _SMBIOS_2_6:
        raw = raw[3::-1] + raw[5:3:-1] + raw[7:5:-1] + raw[8:]
    text = raw.hex()
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


def first(structures: Iterable[Structure]) -> Structure | None:
    """Return the first structure, or None."""
    return next(iter(structures), None)
