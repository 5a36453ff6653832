"""Which pack is it: by what it says of itself, or by how its figures move."""

from dataclasses import dataclass

from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import Pack

COUNTER_WRAP = 256
"""Some firmware truncates the cycle count to 8 bits: 65 shown, 321 real (seen in a
public firmware report), so a fall by about this much is no swap [cycles]."""

WRAP_SLACK = 12
"""Cycles that may pass around a wrap without being seen [cycles]. Own choice."""

DESIGN_TOLERANCE = 0.01
"""Change of design capacity that is another pack's [fraction]. Own choice."""

NEW_PACK_JUMP = 0.12
"""Rise of full-charge over design capacity that only another pack explains [fraction].

Own choice: relearning gives 2 to 10 % back (standard gauges), a new pack more.
"""

NEW_PACK_WEAR = 0.06
"""Wear at or below which such a rise ends at a new pack [fraction]. Own choice."""


@dataclass(frozen=True, slots=True)
class PackFigures:
    """What of a pack decides whether the next reading is of the same one."""

    maker: str | None
    model: str | None
    unit: str
    design_capacity: int | None
    full_charge_capacity: int | None
    cycle_count: int | None


def figures_of(pack: Pack) -> PackFigures:
    """Take from a reading what identifies a pack without a serial."""
    return PackFigures(
        pack.maker,
        pack.model,
        pack.unit,
        pack.design_capacity,
        pack.full_charge_capacity,
        pack.cycle_count,
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


def is_same_weak_pack(before: PackFigures, now: PackFigures) -> bool:
    """Say whether a slot still holds the same pack, though its identity is weak."""
    return not (
        _differ(before.maker, now.maker)
        or _differ(before.model, now.model)
        or before.unit != now.unit
        or _design_changed(before, now)
        or _cycles_fell(before.cycle_count, now.cycle_count)
        or _jumped_to_new(before, now)
    )


def _differ(before: str | None, now: str | None) -> bool:
    return bool(before) and bool(now) and before != now


def _design_changed(before: PackFigures, now: PackFigures) -> bool:
    if not before.design_capacity or not now.design_capacity:
        return False
    change = abs(now.design_capacity - before.design_capacity)
    return change > DESIGN_TOLERANCE * before.design_capacity


def _cycles_fell(before: int | None, now: int | None) -> bool:
    if before is None or now is None or now >= before:
        return False
    past_wrap = (now - before) % COUNTER_WRAP
    return past_wrap > WRAP_SLACK


def _jumped_to_new(before: PackFigures, now: PackFigures) -> bool:
    shares = _share(before), _share(now)
    if shares[0] is None or shares[1] is None:
        return False
    return shares[1] - shares[0] >= NEW_PACK_JUMP and shares[1] >= 1 - NEW_PACK_WEAR


def _share(figures: PackFigures) -> float | None:
    if not figures.design_capacity or not figures.full_charge_capacity:
        return None
    return figures.full_charge_capacity / figures.design_capacity
