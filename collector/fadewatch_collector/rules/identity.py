"""Which pack is it: by what it says of itself, or by how its figures move."""

from dataclasses import dataclass

from fadewatch_collector.rules.levels import COUNTER_WRAP
from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import Pack

WRAP_SLACK = 12
"""Cycles that may pass around a wrap without being seen [cycles]. Own choice."""

USUAL_CYCLES_A_DAY = 1.5
"""Cycles that pass in a day without a reading, at most [1/d]. Own choice."""

MOST_SLACK = 100
"""Most cycles that are taken for passed unseen [cycles]. Own choice."""

DESIGN_TOLERANCE = 0.01
"""Change of design capacity that is another pack's [fraction]. Own choice."""

UNIT_TOLERANCE = 0.05
"""Difference between a design capacity told in mWh, and in mAh times the design
voltage, that rounding explains [fraction]. Own choice."""

PACK_VOLTS = (3.0, 20.0)
"""Least and greatest design voltage of a laptop's pack [V]: one to five cells."""


@dataclass(frozen=True, slots=True)
class PackFigures:
    """What of a pack decides whether the next reading is of the same one."""

    maker: str | None
    model: str | None
    unit: str
    design_capacity: int | None
    full_charge_capacity: int | None
    cycle_count: int | None
    design_voltage_mv: int | None = None


def figures_of(pack: Pack) -> PackFigures:
    """Take from a reading what identifies a pack without a serial."""
    return PackFigures(
        pack.maker,
        pack.model,
        pack.unit,
        pack.design_capacity,
        pack.full_charge_capacity,
        pack.cycle_count,
        pack.design_voltage_mv,
    )


def pack_identity(pack: Pack) -> str | None:
    """Return maker, model, serial and date in one text, or None when that is weak.

    Weak means that the serial is blank, zero or another placeholder: then two packs
    may look the same and the slot decides (``is_same_weak_pack``).
    """
    if is_placeholder(pack.serial):
        return None
    made_on = pack.made_on.isoformat() if pack.made_on else ""
    parts = (pack.maker or "", pack.model or "", pack.serial or "", made_on)
    return "|".join(part.strip().replace("|", "/") for part in parts)


def is_same_weak_pack(
    before: PackFigures,
    now: PackFigures,
    days: float = 0.0,
    *,
    order_is_unsure: bool = False,
) -> bool:
    """Say whether a slot still holds the same pack, though its identity is weak.

    Parameters
    ----------
    days
        Time between the two readings [day]: cycles pass unseen in it.
    order_is_unsure
        It is not sure which of the two was first: a late reading, or one whose own
        clock was not believed. A count may then be a little behind.
    """
    return not (
        _differ(before.maker, now.maker)
        or _differ(before.model, now.model)
        or _design_changed(before, now)
        or _cycles_fell(before.cycle_count, now.cycle_count, days, order_is_unsure)
    )


def _differ(before: str | None, now: str | None) -> bool:
    return bool(before) and bool(now) and before != now


def _design_changed(before: PackFigures, now: PackFigures) -> bool:
    if before.unit != now.unit:
        return _is_other_design(before, now)
    if not before.design_capacity or not now.design_capacity:
        return False
    change = abs(now.design_capacity - before.design_capacity)
    return change > DESIGN_TOLERANCE * before.design_capacity


def _is_other_design(before: PackFigures, now: PackFigures) -> bool:
    """Say whether two readings in different units are of different packs.

    A driver may change from mWh to mAh, or to percent only, without a new pack.
    """
    by_unit = {figures.unit: figures for figures in (before, now)}
    if "relative" in by_unit:
        return False
    energy = by_unit["mWh"].design_capacity
    charge = by_unit["mAh"].design_capacity
    if not energy or not charge:
        return True
    volts = energy / charge
    told = before.design_voltage_mv or now.design_voltage_mv
    if told:
        return abs(volts - told / 1000) > UNIT_TOLERANCE * told / 1000
    return not PACK_VOLTS[0] <= volts <= PACK_VOLTS[1]


def _cycles_fell(
    before: int | None, now: int | None, days: float, order_is_unsure: bool
) -> bool:
    if before is None or now is None or now >= before:
        return False
    unseen = min(USUAL_CYCLES_A_DAY * days, MOST_SLACK)
    if order_is_unsure and before - now <= WRAP_SLACK + unseen:
        return False
    past_wrap = (now - before) % COUNTER_WRAP
    # A count that went past 255 is not cut to 8 bits: it wraps once at most, and soon.
    return past_wrap > WRAP_SLACK + (unseen if before < COUNTER_WRAP else 0)
