"""From the replies of a battery's driver to one pack of a report. Pure."""

from ctypes import sizeof
from datetime import date
from typing import NamedTuple

from fadewatch_agent.readers.files import clean
from fadewatch_agent.readers.pack import Capacities, is_percent_only
from fadewatch_agent.readers.windows import layout
from fadewatch_agent.readers.windows.calls import decoded
from fadewatch_common.report import Pack, PackState

_CHEMISTRIES = {
    "LION": "Li-ion",
    "LI-I": "Li-ion",
    "LIP": "Li-poly",
    "LIPO": "Li-poly",
    "LI-P": "Li-poly",
    "NIMH": "NiMH",
    "NICD": "NiCd",
    "NIZN": "NiZn",
    "PBAC": "lead acid",
}
"""Chemistries in the words of the other readers.

PbAc, LION, NiCd, NiMH and NiZn are documented (Microsoft Learn, BATTERY_INFORMATION);
the others are what firmware's longer names look like when cut to four (from memory).
"""

_FULL_PERCENT = 100
_KELVIN_TENTHS = 10
_ZERO_CELSIUS = 273.15
"""0 degrees Celsius [K]."""
_UNSIGNED_UNKNOWN = 0xFFFF_FFFF


class Texts(NamedTuple):
    """What a driver may or may not tell; empty where it does not."""

    maker: bytes = b""
    model: bytes = b""
    serial: bytes = b""
    made_on: bytes = b""
    temperature: bytes = b""


def is_laptops_pack(information: layout.BATTERY_INFORMATION) -> bool:
    """Say whether it is a pack of this laptop: no UPS, and no short-term source."""
    capabilities = int(information.Capabilities)
    return bool(capabilities & layout.BATTERY_SYSTEM_BATTERY) and not (
        capabilities & layout.BATTERY_IS_SHORT_TERM
    )


def pack_from(
    slot: str,
    information: layout.BATTERY_INFORMATION,
    status: layout.BATTERY_STATUS,
    texts: Texts,
) -> Pack:
    """Build a pack from the replies of one battery under one tag."""
    held = capacities(information, status)
    return Pack(
        slot=slot,
        unit=held.unit,
        state=state(status, held),
        maker=text(texts.maker),
        model=text(texts.model),
        serial=text(texts.serial),
        made_on=_made_on(texts.made_on),
        chemistry=_chemistry(bytes(information.Chemistry)),
        design_capacity=held.design,
        full_charge_capacity=held.full,
        remaining_capacity=held.remaining,
        # 0 where there is no counter (Microsoft Learn, BATTERY_WMI_CYCLE_COUNT).
        cycle_count=_known(information.CycleCount) or None,
        voltage_mv=_known(status.Voltage) or None,
        temperature_c=_temperature_c(texts.temperature),
    )


def capacities(
    information: layout.BATTERY_INFORMATION, status: layout.BATTERY_STATUS
) -> Capacities:
    """Return the capacities: mWh, unless the driver says that only ratios count."""
    relative = int(information.Capabilities) & layout.BATTERY_CAPACITY_RELATIVE
    held = Capacities(
        "relative" if relative else "mWh",
        _known(information.DesignedCapacity) or None,
        _known(information.FullChargedCapacity) or None,
        _known(status.Capacity),
    )
    if relative:
        return held
    has_rate = status.Rate != layout.BATTERY_UNKNOWN_RATE
    # Firmware may count in percent without saying so (ACPI 6.0, 10.2.2).
    if is_percent_only(held, None, has_rate=has_rate):
        return Capacities("relative", None, _FULL_PERCENT, held.remaining)
    if held.design is not None and held.design <= _FULL_PERCENT:
        held.unit = "relative"
    return held


def state(status: layout.BATTERY_STATUS, held: Capacities) -> PackState:
    """Return what the pack does."""
    power = int(status.PowerState)
    charging = bool(power & layout.BATTERY_CHARGING)
    discharging = bool(power & layout.BATTERY_DISCHARGING)
    if charging != discharging:
        return "charging" if charging else "discharging"
    if charging or not power & layout.BATTERY_POWER_ON_LINE:
        return "unknown"
    known = [c for c in (held.full, held.design) if c is not None]
    if held.remaining is None or held.full is None:
        return "unknown"
    # As Linux decides it (drivers/acpi/battery.c, acpi_battery_is_charged).
    return "full" if held.remaining >= min(known) else "held"


def text(reply: bytes) -> str | None:
    """Return a wide text up to its end mark, fit for a report."""
    even = reply[: len(reply) & ~1]
    return clean(even.decode("utf-16-le", "replace").partition("\0")[0])


def _known(value: int) -> int | None:
    return None if value == _UNSIGNED_UNKNOWN else int(value)


def _chemistry(raw: bytes) -> str | None:
    """Read the four characters, which need not end with a zero."""
    shown = clean(raw.partition(b"\0")[0])
    return None if shown is None else _CHEMISTRIES.get(shown.upper(), shown)


def _made_on(reply: bytes) -> date | None:
    if len(reply) < sizeof(layout.BATTERY_MANUFACTURE_DATE):
        return None
    told = decoded(layout.BATTERY_MANUFACTURE_DATE, reply)
    try:
        return date(told.Year, told.Month, told.Day)
    except ValueError:
        return None


def _temperature_c(reply: bytes) -> float | None:
    """Read a temperature in tenths of a kelvin [degrees Celsius]."""
    raw = int.from_bytes(reply[:4], "little")
    if len(reply) < 4 or raw in (0, _UNSIGNED_UNKNOWN):  # noqa: PLR2004
        return None
    return round(raw / _KELVIN_TENTHS - _ZERO_CELSIUS, 2)
