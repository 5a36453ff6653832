"""The pack of a laptop that runs macOS.

There is no documented schema: the key names are those of Apple's published headers and
driver source, and each is taken for optional. Capacities are in mAh.
"""

from collections.abc import Iterator
from functools import partial

from fadewatch_agent.readers.macos.entry import flag, number, part, positive, text
from fadewatch_agent.readers.macos.programs import (
    Entry,
    ProgramFailed,
    Run,
    registry,
)
from fadewatch_agent.readers.supplies import (
    SLOT_LENGTH,
    Identities,
    Look,
    Pause,
    settled,
)
from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import Pack, PackState
from fadewatch_common.smart_battery import unpack_date

CLASS = "AppleSmartBattery"

_DETAILS = "BatteryData"
"""A dictionary inside the entry in which newer systems keep some of the keys."""

_SERIALS = (
    "Serial",
    "BatterySerialNumber",
    "SerialNumber",
    "FirmwareSerialNumber",
)
"""Where generations of laptops keep the pack's serial, the most telling first."""

_LARGEST_PERCENT = 100
"""Up to here a MaxCapacity is a percentage: no laptop's pack has 100 mAh."""

_LEAST_DRAIN_MA = 100
"""Current out of the pack that counts as discharging while on mains [mA]; own choice,
above what a gauge shows at rest."""


def read_packs(run: Run, known: Identities | None, pause: Pause) -> Look:
    """Read the pack; one that is new in its slot is read until two looks agree."""
    return settled(partial(_look, run), known, pause)


def _look(run: Run) -> Look:
    try:
        entries = registry(run, CLASS, "-d", "1")
    except ProgramFailed as error:
        return Look((), None, (f"packs: {error}",))
    packs: list[Pack] = []
    remarks: list[str] = []
    for place, entry in enumerate(entries, 1):
        if flag(entry, "BatteryInstalled") is False:
            continue
        pack = pack_from(_slot(entry, place), entry)
        packs.append(pack)
        remarks.extend(_doubts(pack, entry))
    told = [flag(entry, "ExternalConnected") for entry in entries]
    on_line = [told_one for told_one in told if told_one is not None]
    return Look(tuple(packs), any(on_line) if on_line else None, tuple(remarks))


def pack_from(slot: str, entry: Entry) -> Pack:
    """Build a pack from an entry of either processor generation."""
    full, remaining = _charges(entry)
    return Pack(
        slot=slot,
        unit="mAh",
        state=_state(entry),
        maker=text(entry, "Manufacturer"),
        model=text(entry, "DeviceName"),
        serial=_serial(entry),
        # Newer systems put something else there, which is no day of the calendar.
        made_on=unpack_date(_either(entry, "ManufactureDate") or 0),
        design_capacity=_either(entry, "DesignCapacity"),
        full_charge_capacity=full,
        remaining_capacity=remaining,
        cycle_count=_either(entry, "CycleCount"),
        voltage_mv=_either(entry, "Voltage"),
        # The unit of Temperature is not the same everywhere (0.1 K or 0.01 degrees
        # Celsius), so it is left out until it has been seen on hardware.
        error_margin_percent=_error_margin(entry),
    )


def _charges(entry: Entry) -> tuple[int | None, int | None]:
    """Return full-charge and remaining capacity [mAh].

    Where MaxCapacity is a percentage (100), only the raw keys are charges. The raw
    one comes first as it is the gauge's full-charge capacity, which other systems
    show too; the nominal one is smoothed and stands in where there is no other.
    """
    raw = _either(entry, "AppleRawMaxCapacity")
    shown = positive(entry, "MaxCapacity") or 0
    in_charge = shown > _LARGEST_PERCENT
    full = raw or (shown if in_charge else None)
    full = full or _either(entry, "NominalChargeCapacity")
    remaining = number(entry, "AppleRawCurrentCapacity")
    if remaining is None and in_charge:
        remaining = number(entry, "CurrentCapacity")
    return full, remaining if remaining is None or remaining >= 0 else None


def _either(entry: Entry, name: str) -> int | None:
    """Return a number of the entry, or of the dictionary inside it."""
    return positive(entry, name) or positive(part(entry, _DETAILS), name)


def _serial(entry: Entry) -> str | None:
    told = [
        text(place, name)
        for place in (entry, part(entry, _DETAILS))
        for name in _SERIALS
    ]
    if named := next((serial for serial in told if not is_placeholder(serial)), None):
        return named
    # The smart battery's own serial is a number of 16 bits.
    numbers = (_either(entry, name) for name in reversed(_SERIALS))
    return next((str(value) for value in numbers if value), None)


def _state(entry: Entry) -> PackState:
    on_line = flag(entry, "ExternalConnected")
    if on_line is None:
        return "charging" if flag(entry, "IsCharging") else "unknown"
    # A weak supply is connected while the pack still drains.
    if not on_line or (number(entry, "Amperage") or 0) <= -_LEAST_DRAIN_MA:
        return "discharging"
    if flag(entry, "IsCharging"):
        return "charging"
    full = flag(entry, "FullyCharged")
    if full is None:
        return "unknown"
    return "full" if full else "held"


def _error_margin(entry: Entry) -> int | None:
    margin = number(entry, "MaxErr")
    return margin if margin is not None and margin >= 0 else None


def _slot(entry: Entry, place: int) -> str:
    name = text(entry, "IORegistryEntryName", SLOT_LENGTH - 4) or CLASS
    return name if place == 1 else f"{name} {place}"


def _doubts(pack: Pack, entry: Entry) -> Iterator[str]:
    """Say what is missing, as wear cannot be told without it, and what failed."""
    for words, value in (
        ("design capacity", pack.design_capacity),
        ("full-charge capacity", pack.full_charge_capacity),
    ):
        if value is None:
            yield f"{pack.slot}: {words} unknown: the registry gives none in mAh"
    if failure := positive(entry, "PermanentFailureStatus"):
        yield (
            f"{pack.slot}: its own electronics report a permanent failure "
            f"({failure:#x}); have it looked at"
        )
