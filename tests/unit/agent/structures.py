"""SMBIOS structures laid out byte by byte, after DMTF DSP0134 3.8.0, clause 7."""

from collections.abc import Mapping

Field = tuple[int, int, int]
"""Offset, size in bytes, value (little-endian)."""

END = b"\x7f\x04\xfe\xff\0\0"
"""Type 127, end of table: header of four bytes and no strings."""


def structure(
    kind: int,
    length: int,
    fields: list[Field],
    strings: tuple[bytes, ...] = (),
    handle: int = 0x0100,
) -> bytes:
    """Lay out one structure: header, formatted part, string set."""
    formatted = bytearray(length)
    formatted[0], formatted[1] = kind, length
    formatted[2:4] = handle.to_bytes(2, "little")
    for offset, size, value in fields:
        formatted[offset : offset + size] = value.to_bytes(size, "little")
    text = b"".join(string + b"\0" for string in strings) or b"\0"
    return bytes(formatted) + text + b"\0"


SYSTEM_UUID = bytes.fromhex("33221100554477668899AABBCCDDEEFF")
"""In memory order; reads 00112233-4455-6677-8899-aabbccddeeff since SMBIOS 2.6."""


def system(uuid: bytes = SYSTEM_UUID, length: int = 27) -> bytes:
    """Lay out type 1 (7.2): manufacturer 04, product 05, serial 07, UUID 08."""
    fields = [(0x04, 1, 1), (0x05, 1, 2), (0x06, 1, 0), (0x07, 1, 3)]
    if length >= 0x18:
        fields.append((0x08, 16, int.from_bytes(uuid, "little")))
    return structure(1, length, fields, (b"Tarnholm", b"Ridgeway 14", b"TH4X9Q7K"))


def chassis(code: int) -> bytes:
    """Lay out type 3 (7.4): chassis type 05."""
    return structure(3, 21, [(0x04, 1, 1), (0x05, 1, code)], (b"Tarnholm",), 0x0300)


def array(handle: int = 0x1000, use: int = 3) -> bytes:
    """Lay out type 16 (7.17): use 05, number of devices 0D."""
    return structure(16, 23, [(0x04, 1, 3), (0x05, 1, use), (0x0D, 2, 2)], (), handle)


def memory_device(
    size: int,
    *,
    extra: Mapping[int, tuple[int, int]] | None = None,
    strings: tuple[bytes, ...] = (b"DIMM A", b"Orrin Memory", b"OM8-3200"),
    length: int = 0x64,
    array_handle: int = 0x1000,
    handle: int = 0x1100,
) -> bytes:
    """Lay out type 17 (7.18): size 0C, form factor 0E, locator 10, type 12,
    speed 15, manufacturer 17, part 1A, extended size 1C, configured speed 20,
    extended speed 54, extended configured speed 58.
    """
    fields = {
        0x04: (2, array_handle),
        0x0C: (2, size),
        0x0E: (1, 0x0D),
        0x10: (1, 1),
        0x12: (1, 0x1A),
        0x15: (2, 3200),
        0x17: (1, 2),
        0x1A: (1, 3),
        0x20: (2, 2933),
    } | dict(extra or {})
    laid = [(o, s, v) for o, (s, v) in sorted(fields.items()) if o + s <= length]
    return structure(17, length, laid, strings, handle)


def portable_battery(
    *,
    serial: bytes = b"00417",
    design: int = 5700,
    multiplier: int = 10,
    sbds_serial: int = 0,
    sbds_date: int = 22127,
    chemistry: int = 6,
    length: int = 26,
) -> bytes:
    """Lay out type 22 (7.23): serial 07, chemistry 09, design capacity 0A, design
    voltage 0C, smart-battery serial 10, date 12, chemistry 14, multiplier 15.
    """
    fields = [
        (0x04, 1, 1),
        (0x05, 1, 2),
        (0x07, 1, 3),
        (0x08, 1, 4),
        (0x09, 1, chemistry),
        (0x0A, 2, design),
        (0x0C, 2, 11400),
    ]
    if length >= 26:
        fields += [
            (0x10, 2, sbds_serial),
            (0x12, 2, sbds_date),
            (0x14, 1, 5),
            (0x15, 1, multiplier),
        ]
    strings = (b"Front", b"Quellmar", serial, b"QM57-3S", b"LION")
    return structure(22, length, fields, strings, 0x1600)


def entry_point_3(major: int, minor: int) -> bytes:
    """Lay out the 64-bit entry point (5.2.2), 24 bytes; its sum is 0 modulo 256."""
    raw = bytearray(b"_SM3_\0\x18" + bytes((major, minor)) + bytes(15))
    raw[5] = -sum(raw) % 256
    return bytes(raw)


def entry_point_2(major: int, minor: int) -> bytes:
    """Lay out the 32-bit entry point (5.2.1), 31 bytes."""
    raw = bytearray(b"_SM_\0\x1f" + bytes((major, minor)) + bytes(23))
    raw[0x10:0x15] = b"_DMI_"
    raw[4] = -sum(raw) % 256
    return bytes(raw)
