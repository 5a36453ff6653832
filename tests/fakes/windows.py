"""Windows as the agent's readers call it, with replies laid out byte by byte.

Layouts are written here a second time, with ``struct``, so that a mistake in the
reader's own definitions shows.
"""

import struct
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field

from fadewatch_agent.readers.windows.calls import CallFailed, Device, Paths
from tests.unit.agent.structures import END, chassis, memory_device, system

Reply = bytes | int
"""What comes back, or the error that does."""

UNKNOWN = 0xFFFF_FFFF
TAG = struct.pack("<I", 7)
NUMBER = struct.pack("<III", 7, 0, 0)
SIZE = bytes(24) + struct.pack("<q", 512_110_190_592) + bytes(40)
SOLID = struct.pack("<IIB3x", 12, 12, 0)
SPINNING = struct.pack("<IIB3x", 12, 12, 1)
PACK_PATH = r"\\?\acpi#pnp0c0a#1#{72631e54-78a4-11d0-bcf7-00aa00b7b32a}"
BAY_PATH = r"\\?\acpi#pnp0c0a#2#{72631e54-78a4-11d0-bcf7-00aa00b7b32a}"
DISK_PATH = r"\\?\scsi#disk&ven_nvme#4&1#{53f56307-b6bf-11d0-94f2-00a0c91efb8b}"

QUERY_TAG, QUERY_INFORMATION, QUERY_STATUS = 0x294040, 0x294044, 0x29404C
QUERY_PROPERTY, DEVICE_NUMBER, GEOMETRY = 0x2D1400, 0x2D1080, 0x700A0
INFORMATION, TEMPERATURE, NAME, DATE, MAKER, SERIAL = 0, 2, 4, 5, 6, 8
SYSTEM_BATTERY, RELATIVE, SHORT_TERM = 0x80000000, 0x40000000, 0x20000000


def information(
    *,
    capabilities: int = SYSTEM_BATTERY,
    chemistry: bytes = b"LION",
    design: int = 57_000,
    full: int = 49_020,
    cycles: int = 212,
) -> bytes:
    """Lay out BATTERY_INFORMATION, 36 bytes."""
    head = struct.pack("<IB3x4s", capabilities, 1, chemistry)
    return head + struct.pack("<6I", design, full, 5_700, 2_850, 0, cycles)


def status(
    power: int = 0x2, remaining: int = 41_200, voltage: int = 11_873, rate: int = -9_120
) -> bytes:
    """Lay out BATTERY_STATUS, 16 bytes."""
    return struct.pack("<IIIi", power, remaining, voltage, rate)


def wide(text: str) -> bytes:
    """Return a text as Windows gives it, with its end mark."""
    return text.encode("utf-16-le") + b"\0\0"


def made_on(day: int, month: int, year: int) -> bytes:
    """Lay out BATTERY_MANUFACTURE_DATE, 4 bytes."""
    return struct.pack("<BBH", day, month, year)


def healthy(**changed: Reply) -> dict[int, Reply]:
    """Return what a healthy pack answers, by level; wear is 14.0 %."""
    names = {"maker": MAKER, "name": NAME, "serial": SERIAL, "date": DATE}
    names |= {"information": INFORMATION, "temperature": TEMPERATURE}
    told: dict[int, Reply] = {
        INFORMATION: information(),
        MAKER: wide("Quellmar"),
        NAME: wide("QM57-3S"),
        SERIAL: wide(" 00417 "),
        DATE: made_on(15, 3, 2023),
        TEMPERATURE: struct.pack("<I", 3035),
    }
    return told | {names[name]: reply for name, reply in changed.items()}


@dataclass
class Battery:
    """A battery port; asked under another tag than its own it answers error 2."""

    answers: Mapping[int, Reply] = field(default_factory=healthy)
    status: Reply = field(default_factory=status)
    tag: Reply = TAG
    meanwhile: Callable[["Battery", int], None] = lambda battery, count: None
    asked: list[tuple[int, bytes]] = field(default_factory=list)

    def ask(self, code: int, request: bytes, room: int) -> bytes:
        self.asked.append((code, request))
        self.meanwhile(self, len(self.asked))
        return _given(self._reply(code, request))

    def _reply(self, code: int, request: bytes) -> Reply:
        if code == QUERY_TAG:
            assert request == b"\0\0\0\0"
            return self.tag
        if request[:4] != self.tag:
            return 2
        if code == QUERY_STATUS:
            # BATTERY_WAIT_STATUS with a timeout of 0: answer at once.
            assert request[4:] == bytes(16)
            return self.status
        assert code == QUERY_INFORMATION
        (level,) = struct.unpack_from("<I", request, 4)
        assert request[8:] == bytes(4)
        return self.answers.get(level, 1)


def descriptor(
    *,
    bus: int = 17,
    removable: int = 0,
    vendor: bytes = b"",
    product: bytes = b"Larkspur N512",
    serial: bytes = b"  LK0042  ",
    room: int = 0,
) -> bytes:
    """Lay out STORAGE_DEVICE_DESCRIPTOR, 36 bytes before its texts."""
    texts = bytearray()
    offsets = []
    for part in (vendor, product, serial):
        offsets.append(36 + room + len(texts) if part else 0)
        texts += part + b"\0" if part else b""
    size = 36 + room + len(texts)
    head = struct.pack("<II4B", 40, size, 0, 0, removable, 0)
    middle = struct.pack("<IIIIII", offsets[0], offsets[1], 0, offsets[2], bus, room)
    return head + middle + bytes(room) + bytes(texts)


@dataclass
class Disk:
    """A drive."""

    descriptor: Reply = field(default_factory=descriptor)
    number: Reply = NUMBER
    geometry: Reply = SIZE
    seek_penalty: Reply = SOLID

    def ask(self, code: int, request: bytes, room: int) -> bytes:
        if code != QUERY_PROPERTY:
            assert request == b""
            whole = {DEVICE_NUMBER: self.number, GEOMETRY: self.geometry}[code]
            return _given(whole)
        which, standard = struct.unpack_from("<II", request)
        assert len(request) == 12
        assert standard == 0
        whole = {0: self.descriptor, 7: self.seek_penalty}[which]
        # A property is cut to the room there is, without an error.
        return _given(whole)[:room]


def tables(*structures: bytes, version: tuple[int, int] = (3, 4)) -> bytes:
    """Lay out RawSMBIOSData with structures."""
    table = b"".join(structures) + END
    return struct.pack("<BBBBI", 0, *version, 0, len(table)) + table


def power(line: int) -> bytes:
    """Lay out SYSTEM_POWER_STATUS, 12 bytes."""
    return struct.pack("<BBBBII", line, 1, 84, 0, UNKNOWN, UNKNOWN)


@dataclass
class FakeWindows:
    """One laptop; counts what is open."""

    devices: Mapping[str, Device | int] = field(default_factory=dict)
    firmware: Reply = field(
        default_factory=lambda: tables(system(), chassis(10), memory_device(8192))
    )
    power: Reply = field(default_factory=lambda: power(0))
    installed_kib: int = 8 * 1024 * 1024
    usable_bytes: int = 8_000_000_000
    name: str = "RIDGEWAY-17"
    failed: dict[bytes, int] = field(default_factory=dict)
    unlisted: tuple[CallFailed, ...] = ()
    opened_with: list[int] = field(default_factory=list)
    closed: int = 0

    def paths(self, kind: bytes) -> Paths:
        if kind in self.failed:
            raise CallFailed("SetupDiGetClassDevsW", self.failed[kind])
        data1, data2, data3 = struct.unpack("<IHH", kind[:8])
        tail = kind[8:].hex()
        guid = f"{{{data1:08x}-{data2:04x}-{data3:04x}-{tail[:4]}-{tail[4:]}}}"
        found = (path for path in self.devices if path.lower().endswith(guid))
        return Paths(tuple(found), self.unlisted)

    @contextmanager
    def opened(self, path: str, access: int) -> Iterator[Device]:
        device = self.devices[path]
        if isinstance(device, int):
            raise CallFailed("CreateFileW", device)
        self.opened_with.append(access)
        try:
            yield device
        finally:
            self.closed += 1

    def firmware_table(self) -> bytes:
        return _given(self.firmware, "GetSystemFirmwareTable")

    def power_status(self) -> bytes:
        return _given(self.power, "GetSystemPowerStatus")

    def installed_memory_kib(self) -> int:
        return _number(self.installed_kib, "GetPhysicallyInstalledSystemMemory")

    def usable_memory_bytes(self) -> int:
        return _number(self.usable_bytes, "GlobalMemoryStatusEx")

    def computer_name(self) -> str:
        if not self.name:
            raise CallFailed("GetComputerNameExW", 234)
        return self.name


def _given(reply: Reply, call: str = "DeviceIoControl") -> bytes:
    if isinstance(reply, int):
        raise CallFailed(call, reply)
    return reply


def _number(value: int, call: str) -> int:
    """Return a number; a negative one stands for an error."""
    if value < 0:
        raise CallFailed(call, -value)
    return value
