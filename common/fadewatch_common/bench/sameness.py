"""Whether it is the pack that was there before."""

from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import Pack

DESIGN_TOLERANCE = 0.01
"""Change of design capacity that is another pack's [fraction]. Own choice."""

CYCLE_SLACK = 12
"""Cycles that a count may fall by in one pack [count]; own choice."""


def is_same_pack(one: Pack, other: Pack) -> bool:
    """Say whether two readings are of one pack, as far as they tell.

    By maker, model and serial where both tell a serial, else by what does not
    change in a pack: maker, model, design capacity, and a count that does not fall.

    Parameters
    ----------
    one, other
        The earlier and the later reading.
    """
    if not is_placeholder(one.serial) and not is_placeholder(other.serial):
        return _identity(one) == _identity(other)
    if is_placeholder(one.serial) != is_placeholder(other.serial):
        return False
    return not (
        _differ(one.maker, other.maker)
        or _differ(one.model, other.model)
        or _design_differs(one, other)
        or _count_fell(one, other)
    )


def _identity(pack: Pack) -> tuple[str, ...]:
    told = (pack.maker, pack.model, pack.serial)
    return tuple((text or "").strip() for text in told)


def _differ(one: str | None, other: str | None) -> bool:
    return bool(one) and bool(other) and one != other


def _design_differs(one: Pack, other: Pack) -> bool:
    if one.unit != other.unit or not one.design_capacity or not other.design_capacity:
        return False
    change = abs(other.design_capacity - one.design_capacity)
    return change > DESIGN_TOLERANCE * one.design_capacity


def _count_fell(one: Pack, other: Pack) -> bool:
    if one.cycle_count is None or other.cycle_count is None:
        return False
    return one.cycle_count - other.cycle_count > CYCLE_SLACK
