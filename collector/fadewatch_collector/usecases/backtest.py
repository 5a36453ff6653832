"""Replay histories as they would have come, without looking ahead."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, DayArray
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.usecases.together import (
    THRESHOLDS,
    Advance,
    assess_together,
    only_rows,
    select,
)

HEARD_WITHIN = 90
"""A pack is assessed on days at most so long after a reading of it [day].

Own choice: it bridges holidays, and a reading under a wrong clock costs few lines.
"""


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """What would have been said on one day.

    Attributes
    ----------
    as_of
        [d since 1970-01-01]
    packs
        Positions of the packs that are assessed on this day.
    figures
        Of these packs, in their order.
    """

    as_of: int
    packs: CountArray
    figures: Assessments


def steps(histories: Histories, step_days: int) -> list[int]:
    """Return the days on which at least one pack is assessed, ascending.

    They are the multiples of ``step_days`` counted from 1970-01-01, so that no
    reading, whenever it comes, moves the day of another line.
    """
    if histories.day.size == 0:
        return []
    days = np.unique(histories.day)
    grid = np.arange(-(-days[0] // step_days), days[-1] // step_days + 1) * step_days
    newest = days[np.searchsorted(days, grid, side="right") - 1]
    chosen: list[int] = grid[grid - newest <= HEARD_WITHIN].tolist()
    return chosen


def replay(
    histories: Histories,
    step_days: int,
    *,
    thresholds: Thresholds = THRESHOLDS,
    advance: Advance | None = None,
) -> Iterator[Step]:
    """Assess every pack on every step of its history.

    A step hands over readings up to its day and nothing else. A pack takes part from
    its first reading to its last.

    Parameters
    ----------
    step_days
        Days between two steps, at least 1.
    advance
        Called with the number of steps done since it was last called.
    """
    last = _last(histories)
    for as_of in steps(histories, step_days):
        known = _known(histories, as_of)
        packs = np.flatnonzero((known >= 0) & (as_of - known <= HEARD_WITHIN))
        so_far = select(histories, packs, until=as_of)
        figures = assess_together(so_far, as_of, thresholds=thresholds)
        # Packs that will not be heard again are left out afterwards only: others
        # borrow from them, and may not know the future either.
        rows = np.flatnonzero(as_of <= last[packs])
        if rows.size:
            yield Step(as_of, packs[rows], only_rows(figures, rows))
        if advance is not None:
            advance(1)


def _last(histories: Histories) -> DayArray:
    return _day_before(histories, histories.offsets[1:])


def _known(histories: Histories, as_of: int) -> DayArray:
    """Return each pack's newest day up to a day; -1 without one."""
    reached = np.concatenate([[0], np.cumsum(histories.day <= as_of)])
    counts = np.diff(reached[histories.offsets])
    return _day_before(histories, histories.offsets[:-1] + counts)


def _day_before(histories: Histories, end: CountArray) -> DayArray:
    some = end > histories.offsets[:-1]
    days = np.full(len(histories), -1, dtype=np.int32)
    days[some] = histories.day[end[some] - 1]
    return days
