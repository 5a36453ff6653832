"""Whether the newest readings of a weak identity show another pack's capacity.

One reading may mean nothing and a gauge may come back after a dip, so a jump counts
only when several readings stand at the new level and hardly one before them did.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

KEPT = 24
"""Newest readings of a pack that are looked at [count]. Own choice."""

SEEN = 3
"""Readings at the new level that show a jump [count]. Own choice."""

LEAST_BEFORE = 4
"""Readings before it without which there is no level to jump from [count]."""

STRAY_SHARE = 0.15
"""Part of the readings before it that may have stood so high: nonsense [fraction]."""

JUMP_TO_NEW = 0.12
"""Rise of full-charge over design capacity to a new pack's [fraction].

Own choice: relearning gives 2 to 10 % back (standard gauges), a new pack more.
"""

NEW_LEVEL = 0.94
"""Full-charge over design capacity of a new pack, at least [fraction]. Own choice."""

UNCOUNTED_JUMP = 0.08
"""Rise to a new pack's that counts when the cycle count is told no more [fraction].

A new pack has none, which is told as unknown. Own choice: more than a dip comes back.
"""

UNCOUNTED_CHANGE = 0.10
"""Change of level, up or down, that counts when counting cycles begins or ends with it
[fraction]. Own choice."""

JUMP_TO_ANY = 0.25
"""Rise that only another pack explains, new or used [fraction]. Own choice."""

MOST_CYCLES_A_DAY = 3.0
"""Cycles that a pack can make in a day [1/d]; own choice: eight hours each."""

LEAP_SLACK = 8
"""Cycles beyond these that are no leap [cycles]. Own choice."""

COUNTER_WRAP = 256
"""Some firmware truncates the cycle count to 8 bits: 65 shown, 321 real (seen in a
public firmware report), so a step by about this much is no swap [cycles]."""


@dataclass(frozen=True, slots=True)
class Level:
    """What one plausible reading of a pack said, as far as a jump is concerned."""

    at: datetime
    full_charge_capacity: int
    share: float
    cycle_count: int | None


@dataclass(frozen=True, slots=True)
class Jump:
    """Another pack has been there for some readings already.

    Attributes
    ----------
    since
        First reading at the new level.
    last
        Last reading before it.
    """

    since: datetime
    last: Level


def find_jump(levels: Sequence[Level]) -> Jump | None:
    """Return where the newest readings jumped to another pack's level, if they did.

    Parameters
    ----------
    levels
        The pack's newest readings, oldest first.
    """
    before, after = levels[:-SEEN], levels[-SEEN:]
    if len(before) < LEAST_BEFORE:
        return None
    stopped = _stopped_counting(before, after)
    if _rose(before, after, stopped=stopped) or (stopped and _fell(before, after)):
        return Jump(after[0].at, before[-1])
    return None


def _stopped_counting(before: Sequence[Level], after: Sequence[Level]) -> bool:
    counted = all(level.cycle_count is not None for level in before[-LEAST_BEFORE:])
    return counted and all(level.cycle_count is None for level in after)


def _rose(before: Sequence[Level], after: Sequence[Level], *, stopped: bool) -> bool:
    lowest = min(level.share for level in after)
    rise = JUMP_TO_ANY
    if lowest >= NEW_LEVEL:
        rise = UNCOUNTED_JUMP if stopped else JUMP_TO_NEW
    elif stopped:
        rise = UNCOUNTED_CHANGE
    return _hardly_any(before, [level.share > lowest - rise for level in before])


def _fell(before: Sequence[Level], after: Sequence[Level]) -> bool:
    limit = max(level.share for level in after) + UNCOUNTED_CHANGE
    return _hardly_any(before, [level.share < limit for level in before])


def _hardly_any(before: Sequence[Level], stands: Sequence[bool]) -> bool:
    """Say whether few of the readings before stand there, and not the last of them."""
    return not stands[-1] and sum(stands) <= STRAY_SHARE * len(before)


def began_counting(levels: Sequence[Level], cycles: int | None, share: float) -> bool:
    """Say whether a pack that told no count now tells many, at another level.

    Either alone may be a newer driver, or a gauge that learns.
    """
    if cycles is None or cycles <= LEAP_SLACK or len(levels) < LEAST_BEFORE:
        return False
    never = all(level.cycle_count is None for level in levels)
    return never and abs(share - levels[-1].share) >= UNCOUNTED_CHANGE


def leapt(levels: Sequence[Level], cycles: int | None, at: datetime) -> bool:
    """Say whether the cycle count rose by more than a pack can do in the time."""
    told = [level for level in levels if level.cycle_count is not None]
    if cycles is None or not told:
        return False
    last = told[-1]
    rise = cycles - (last.cycle_count or 0)
    days = max((at - last.at) / timedelta(days=1), 0.0)
    most = LEAP_SLACK + MOST_CYCLES_A_DAY * days
    # A count that was truncated to 8 bits may be told whole from one day on.
    return rise > most and rise % COUNTER_WRAP > most
