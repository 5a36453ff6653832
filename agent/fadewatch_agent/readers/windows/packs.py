"""Every pack behind a battery port, and whether the laptop is on mains."""

from collections.abc import Iterator
from functools import partial
from typing import NamedTuple

from fadewatch_agent.readers.files import clean
from fadewatch_agent.readers.supplies import (
    SLOT_LENGTH,
    Identities,
    Look,
    Pause,
    settled,
)
from fadewatch_agent.readers.windows import layout
from fadewatch_agent.readers.windows.calls import (
    CallFailed,
    Calls,
    Device,
    OddReply,
    decoded,
)
from fadewatch_agent.readers.windows.pack import Texts, is_laptops_pack, pack_from
from fadewatch_common.report import Pack

TAG_TRIES = 3
"""Times that a pack is begun anew when its tag has gone stale; own choice."""

_NOT_OFFERED = (
    layout.ERROR_INVALID_FUNCTION,
    layout.ERROR_NOT_SUPPORTED,
    layout.ERROR_INVALID_PARAMETER,
    layout.ERROR_NOT_FOUND,
)
"""Errors by which a driver says that it does not have a piece of information."""

_TEXT_BYTES = 2 * layout.MAX_BATTERY_STRING_SIZE


class _StaleTag(Exception):
    """The pack that the tag meant is not there any more."""


class _Port(NamedTuple):
    """What one battery port gave.

    Attributes
    ----------
    pack
        None for an empty port, and for what is no pack of this laptop.
    on_line
        Whether its driver sees mains; None when it was not asked.
    """

    pack: Pack | None = None
    on_line: bool | None = None
    remarks: tuple[str, ...] = ()


def read_packs(calls: Calls, known: Identities | None, pause: Pause) -> Look:
    """Read all packs; one that is new in its slot is read until two looks agree."""
    return settled(partial(_look, calls), known, pause)


def slot_name(path: str) -> str:
    r"""Return the name of a port's device, as Windows shows it.

    The path ``\\?\acpi#pnp0c0a#1#{...}`` is that of the device ``ACPI\PNP0C0A\1``.
    """
    bare = path.removeprefix("\\\\?\\").rpartition("#{")[0] or path
    # The end tells devices apart, so a long name loses its beginning.
    name = clean(bare.replace("#", "\\").upper()) or "unnamed"
    return name[-SLOT_LENGTH:].strip() or "unnamed"


def _look(calls: Calls) -> Look:
    try:
        ports = calls.paths(layout.GUID_DEVICE_BATTERY)
    except CallFailed as error:
        return Look((), _mains_online(calls, ()), (f"packs: {error}",))
    read = [_read_port(calls, path) for path in ports.found]
    remarks = [f"packs: {error}" for error in ports.failed]
    remarks += [remark for port in read for remark in port.remarks]
    packs = tuple(port.pack for port in read if port.pack is not None)
    on_line = tuple(port.on_line for port in read if port.on_line is not None)
    return Look(packs, _mains_online(calls, on_line), tuple(remarks))


def _read_port(calls: Calls, path: str) -> _Port:
    slot = slot_name(path)
    try:
        with calls.opened(path, layout.GENERIC_READ) as device:
            return _read_device(device, slot)
    except (CallFailed, OddReply) as error:
        return _Port(remarks=(f"{slot}: {error}",))


def _read_device(device: Device, slot: str) -> _Port:
    for _ in range(TAG_TRIES):
        tag = _tag(device)
        if not tag:
            return _Port()
        try:
            return _read_pack(device, tag, slot)
        except _StaleTag:
            continue
    why = f"it was exchanged or refused {TAG_TRIES} times while it was read; not taken"
    return _Port(remarks=(f"{slot}: {why}",))


def _tag(device: Device) -> int:
    """Return the tag of the pack that is in the port now; 0 for an empty port."""
    wait = (0).to_bytes(4, "little")
    try:
        reply = device.ask(layout.IOCTL_BATTERY_QUERY_TAG, wait, 4)
    except CallFailed as error:
        if error.code == layout.ERROR_FILE_NOT_FOUND:
            return 0
        raise
    return int.from_bytes(reply[:4], "little")


def _read_pack(device: Device, tag: int, slot: str) -> _Port:
    """Ask for everything under one tag, the lasting first and the status last."""
    level = layout.BATTERY_INFORMATION_LEVEL
    room = 64
    reply = _asked(
        device, layout.IOCTL_BATTERY_QUERY_INFORMATION, _query(tag, level), room
    )
    information = decoded(layout.BATTERY_INFORMATION, reply)
    if not is_laptops_pack(information):
        return _Port()
    remarks: list[str] = []
    texts = Texts(
        maker=_optional(device, tag, _MAKER, remarks),
        model=_optional(device, tag, _MODEL, remarks),
        serial=_optional(device, tag, _SERIAL, remarks),
        made_on=_optional(device, tag, _MADE_ON, remarks),
        temperature=_optional(device, tag, _TEMPERATURE, remarks),
    )
    wait = bytes(layout.BATTERY_WAIT_STATUS(BatteryTag=tag))
    reply = _asked(device, layout.IOCTL_BATTERY_QUERY_STATUS, wait, room)
    status = decoded(layout.BATTERY_STATUS, reply)
    pack = pack_from(slot, information, status, texts)
    remarks = [f"{slot}: {remark}" for remark in remarks]
    remarks += _missing(pack)
    on_line = bool(status.PowerState & layout.BATTERY_POWER_ON_LINE)
    return _Port(pack, on_line, tuple(remarks))


class _Question(NamedTuple):
    words: str
    level: int
    room: int


_MAKER = _Question("maker", layout.BATTERY_MANUFACTURE_NAME_LEVEL, _TEXT_BYTES)
_MODEL = _Question("model", layout.BATTERY_DEVICE_NAME_LEVEL, _TEXT_BYTES)
_SERIAL = _Question("serial", layout.BATTERY_SERIAL_NUMBER_LEVEL, _TEXT_BYTES)
_MADE_ON = _Question("date of manufacture", layout.BATTERY_MANUFACTURE_DATE_LEVEL, 4)
_TEMPERATURE = _Question("temperature", layout.BATTERY_TEMPERATURE_LEVEL, 4)


def _query(tag: int, level: int) -> bytes:
    return bytes(
        layout.BATTERY_QUERY_INFORMATION(BatteryTag=tag, InformationLevel=level)
    )


def _asked(device: Device, code: int, request: bytes, room: int) -> bytes:
    """Ask for what a pack cannot be without."""
    try:
        return device.ask(code, request, room)
    except CallFailed as error:
        if error.code == layout.ERROR_FILE_NOT_FOUND:
            raise _StaleTag from error
        raise


def _optional(
    device: Device, tag: int, question: _Question, remarks: list[str]
) -> bytes:
    """Ask for what a driver may not have; empty when it does not."""
    request = _query(tag, question.level)
    code = layout.IOCTL_BATTERY_QUERY_INFORMATION
    try:
        return device.ask(code, request, question.room)
    except CallFailed as error:
        if error.code == layout.ERROR_FILE_NOT_FOUND:
            # A stale tag, or a driver that has not got the thing asked for.
            if _tag(device) != tag:
                raise _StaleTag from error
        elif error.code not in _NOT_OFFERED:
            remarks.append(f"{question.words}: {error}")
        return b""


def _missing(pack: Pack) -> Iterator[str]:
    """Say which capacity is missing, as wear cannot be told without it."""
    if pack.unit == "relative" and pack.design_capacity is None:
        yield f"{pack.slot}: gives only a percentage, so its wear cannot be told"
        return
    for words, value in (
        ("design capacity", pack.design_capacity),
        ("full-charge capacity", pack.full_charge_capacity),
    ):
        if value is None:
            yield f"{pack.slot}: {words} unknown: the driver has no value"


def _mains_online(calls: Calls, on_line: tuple[bool, ...]) -> bool | None:
    """Ask the system, and where it does not know, the packs' drivers."""
    try:
        status = decoded(layout.SYSTEM_POWER_STATUS, calls.power_status())
    except (CallFailed, OddReply):
        status = None
    line = None if status is None else int(status.ACLineStatus)
    if line in (layout.AC_LINE_OFFLINE, layout.AC_LINE_ONLINE):
        return line == layout.AC_LINE_ONLINE
    return any(on_line) if on_line else None
