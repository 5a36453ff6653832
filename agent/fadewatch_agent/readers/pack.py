"""From a power supply's attributes to one pack of a report. Pure."""

from datetime import date

from fadewatch_agent.readers.files import clean, number
from fadewatch_agent.readers.snapshot import Attributes
from fadewatch_common.report import Pack, PackState, Unit

_STATES: dict[str, PackState] = {
    "Charging": "charging",
    "Discharging": "discharging",
    "Not charging": "held",
    "Full": "full",
}
_CHEMISTRY_LENGTH = 32
_FULL_PERCENT = 100
_MICRO_IN_MILLI = 1000
_NEVER = 0


class Capacities:
    """The three capacities, all in one unit."""

    __slots__ = ("design", "full", "remaining", "unit")

    def __init__(
        self, unit: Unit, design: int | None, full: int | None, remaining: int | None
    ) -> None:
        self.unit = unit
        self.design = design
        self.full = full
        self.remaining = remaining

    def completeness(self) -> tuple[bool, bool, bool]:
        """Rank what is known: wear needs design and full, so they come first."""
        full, design = self.full is not None, self.design is not None
        return (full and design, full or design, self.remaining is not None)


def pack_from(slot: str, attributes: Attributes) -> Pack:
    """Build a pack from the attributes of one snapshot.

    References
    ----------
    Linux, Documentation/ABI/testing/sysfs-class-power: units are uV, uAh, uWh and
    tenths of a degree; energy and charge must not be mixed.
    """
    held = capacities(attributes)
    return Pack(
        slot=slot,
        unit=held.unit,
        state=_STATES.get(attributes.get("status", "").strip(), "unknown"),
        maker=clean(attributes.get("manufacturer", "")),
        model=clean(attributes.get("model_name", "")),
        serial=clean(attributes.get("serial_number", "")),
        made_on=_made_on(attributes),
        chemistry=_chemistry(attributes),
        design_capacity=held.design,
        full_charge_capacity=held.full,
        remaining_capacity=held.remaining,
        # -1 is an unknown count of _BIX, 0 what firmware without _BIX gives.
        cycle_count=_above(attributes, "cycle_count", _NEVER),
        voltage_mv=_milli(attributes, "voltage_now", _NEVER),
        design_voltage_mv=_design_voltage_mv(attributes),
        temperature_c=_temperature_c(attributes),
        charge_limit_percent=_above(attributes, "charge_control_end_threshold", _NEVER),
        error_margin_percent=_above(attributes, "capacity_error_margin", -1),
    )


def capacities(attributes: Attributes) -> Capacities:
    """Choose the unit that says most, and see through packs that count in percent."""
    best = _fuller(
        _of_prefix(attributes, "charge", "mAh"), _of_prefix(attributes, "energy", "mWh")
    )
    percent = number(attributes.get("capacity"))
    if is_percent_only(best, percent, has_rate=_has_rate(attributes)):
        return Capacities("relative", None, _FULL_PERCENT, _percent_left(best, percent))
    if best.design is not None and best.design <= _FULL_PERCENT:
        return Capacities("relative", best.design, best.full, best.remaining)
    return best


def is_percent_only(held: Capacities, percent: int | None, *, has_rate: bool) -> bool:
    """Say whether the firmware gives a percentage in place of capacities.

    ACPI lets a pack report a last full charge of 100, an unknown rate and the
    remaining percent (ACPI 6.0 section 10.2.2). Linux then shows the design capacity
    as the full one and scales the percentage to it, so wear would read as 0.
    """
    if held.full is None and held.design is None:
        return held.remaining is None and percent is not None
    if held.full == _FULL_PERCENT and (held.remaining or 0) <= _FULL_PERCENT:
        return held.design is None or held.design > _FULL_PERCENT or not has_rate
    if has_rate or held.full != held.design or held.remaining is None:
        return False
    return _is_scaled_percentage(held.remaining, held.full, percent)


def _is_scaled_percentage(
    remaining: int, full: int | None, percent: int | None
) -> bool:
    # The kernel's own integer division loses up to one percent on the way back.
    if full is None or percent is None:
        return False
    return any(p * full // _FULL_PERCENT == remaining for p in (percent, percent + 1))


def _percent_left(held: Capacities, percent: int | None) -> int | None:
    if percent is not None:
        return percent
    return held.remaining if held.full == _FULL_PERCENT else None


def _fuller(charge: Capacities, energy: Capacities) -> Capacities:
    """Choose the unit of which more is known.

    Smart-battery nodes offer both; charge is what a gauge counts, energy is derived
    from it, so charge wins a tie. A pack that tells nothing counts as mWh, the unit
    that most firmware uses.
    """
    if not any(charge.completeness()):
        return energy
    return max(charge, energy, key=Capacities.completeness)


def _of_prefix(attributes: Attributes, prefix: str, unit: Unit) -> Capacities:
    return Capacities(
        unit,
        _milli(attributes, f"{prefix}_full_design", _NEVER),
        _milli(attributes, f"{prefix}_full", _NEVER),
        _milli(attributes, f"{prefix}_now", -1),
    )


def _has_rate(attributes: Attributes) -> bool:
    return any(
        number(attributes.get(name)) is not None
        for name in ("power_now", "current_now")
    )


def _above(attributes: Attributes, name: str, least: int) -> int | None:
    value = number(attributes.get(name))
    return value if value is not None and value > least else None


def _milli(attributes: Attributes, name: str, least: int) -> int | None:
    value = _above(attributes, name, least)
    if value is None:
        return None
    return (value + _MICRO_IN_MILLI // 2) // _MICRO_IN_MILLI


def _design_voltage_mv(attributes: Attributes) -> int | None:
    # ACPI and smart-battery drivers offer the nominal voltage under this name;
    # drivers that also name a largest one mean a true minimum.
    if "voltage_max_design" in attributes:
        return None
    return _milli(attributes, "voltage_min_design", _NEVER)


def _temperature_c(attributes: Attributes) -> float | None:
    tenths = number(attributes.get("temp"))
    return None if tenths is None else tenths / 10


def _chemistry(attributes: Attributes) -> str | None:
    technology = clean(attributes.get("technology", ""), _CHEMISTRY_LENGTH)
    return None if technology == "Unknown" else technology


def _made_on(attributes: Attributes) -> date | None:
    year, month, day = (
        number(attributes.get(f"manufacture_{part}"))
        for part in ("year", "month", "day")
    )
    if year is None or month is None or day is None:
        return None
    try:
        return date(year, month, day)
    except (ValueError, OverflowError):
        return None
