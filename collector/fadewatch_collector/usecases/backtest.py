"""Replay histories as they would have come, without looking ahead."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, DayArray
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.usecases.together import (
    BATCH,
    THRESHOLDS,
    Advance,
    assess_groups,
    only_rows,
    select,
)

HEARD_WITHIN = 90
"""A pack is assessed on days at most so long after a reading of it [day].

Own choice: it bridges holidays, and a reading under a wrong clock costs few lines.
"""

_DAYS = 1 << 20
"""More than the number of any day, to order entries by pack and day in one number."""


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
    diary = _Diary(histories)
    waiting: list[_Heard] = []
    for as_of in steps(histories, step_days):
        waiting.append(diary.heard(as_of))
        if sum(len(one.packs) for one in waiting) >= BATCH:
            yield from diary.told(waiting, thresholds)
            _advance(advance, waiting)
    if waiting:
        yield from diary.told(waiting, thresholds)
        _advance(advance, waiting)


def _advance(advance: Advance | None, done: list["_Heard"]) -> None:
    if advance is not None:
        advance(len(done))
    done.clear()


@dataclass(frozen=True, slots=True, eq=False)
class _Heard:
    """Packs heard lately on a day, and where their entries up to that day end."""

    as_of: int
    packs: CountArray
    end: CountArray


class _Diary:
    """Histories, to be looked up by day."""

    def __init__(self, histories: Histories) -> None:
        self._histories = histories
        packs = np.arange(len(histories), dtype=np.int64)
        self._first_key = packs * _DAYS
        owner = np.repeat(self._first_key, np.diff(histories.offsets))
        self._keys = owner + histories.day
        self._last = self._day_before(histories.offsets[1:])

    def heard(self, as_of: int) -> _Heard:
        """Find the packs that were heard in the time before a day."""
        end = np.searchsorted(self._keys, self._first_key + as_of, side="right")
        newest = self._day_before(end)
        packs = np.flatnonzero((newest >= 0) & (as_of - newest <= HEARD_WITHIN))
        return _Heard(as_of, packs, end[packs])

    def told(self, steps: list[_Heard], thresholds: Thresholds) -> Iterator[Step]:
        """Assess the packs of several days at once, each with its own day's entries."""
        packs = np.concatenate([one.packs for one in steps])
        end = np.concatenate([one.end for one in steps])
        sizes = [len(one.packs) for one in steps]
        as_of = np.repeat([one.as_of for one in steps], sizes).astype(np.int32)
        so_far = select(self._histories, packs, end)
        figures = assess_groups(so_far, as_of, sizes, thresholds)
        # Packs that will not be heard again are left out afterwards only: others
        # borrow from them, and may not know the future either.
        goes_on = as_of <= self._last[packs]
        first = 0
        for one, size in zip(steps, sizes, strict=True):
            rows = first + np.flatnonzero(goes_on[first : first + size])
            first += size
            if rows.size:
                yield Step(one.as_of, packs[rows], only_rows(figures, rows))

    def _day_before(self, end: CountArray) -> DayArray:
        """Return the day of the entry before each end; -1 where there is none."""
        some = end > self._histories.offsets[:-1]
        days = np.full(len(end), -1, dtype=np.int32)
        days[some] = self._histories.day[end[some] - 1]
        return days
