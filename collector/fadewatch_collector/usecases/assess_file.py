"""Assess histories that were read from a file, without a store."""

from collections.abc import Iterator

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, DayArray, Mask
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.rules.assessment import Assessment
from fadewatch_collector.rules.concern import Circumstances, conclude
from fadewatch_collector.usecases.together import (
    THRESHOLDS,
    Advance,
    assess_together,
)

DAYS_PER_YEAR = 365.25
LONG_GAP = 300
"""Readings further apart than this may stem from a wrong clock [day]. Own choice."""
LEAST_SHARE_OF_DAYS = 0.1
"""Of a pack's or a file's days, for those between long gaps to count. Own choice."""
LEAST_SHARE_OF_PACKS = 0.01
"""Of packs, that are heard on a day for it to be the present. Own choice."""


def assess_histories(
    histories: Histories,
    as_of: int,
    *,
    thresholds: Thresholds = THRESHOLDS,
    advance: Advance | None = None,
) -> Iterator[Assessment]:
    """Assess every pack as of a day, in the order of ``histories``.

    Parameters
    ----------
    as_of
        Day of the assessment [d since 1970-01-01]; nothing later is looked at.
    advance
        Called with the number of packs done since it was last called.
    """
    figures = assess_together(histories, as_of, thresholds=thresholds, advance=advance)
    yield from conclusions(figures, thresholds)


def conclusions(
    figures: Assessments, thresholds: Thresholds = THRESHOLDS
) -> Iterator[Assessment]:
    """Turn the figures of every pack into its assessment, in their order."""
    for index in range(len(figures)):
        yield conclude(figures, index, thresholds, _circumstances(figures, index))


def _circumstances(figures: Assessments, index: int) -> Circumstances:
    """Tell what a file knows beside capacity: how long the pack has been seen."""
    first = int(figures.first_day[index])
    if first < 0:
        return Circumstances()
    return Circumstances(age_years=(int(figures.as_of[index]) - first) / DAYS_PER_YEAR)


def newest_day(histories: Histories) -> int | None:
    """Return the newest day that can be believed [d since 1970-01-01].

    A few readings long after all others come from a wrong clock; taking them for the
    present would make every pack look silent. None without a reading.
    """
    owner = _owners(histories)
    day = np.sort(histories.day[histories.day <= last_days(histories)[owner]])
    if day.size == 0:
        return None
    day = day[_in_large_runs(np.zeros(day.size, dtype=np.int64), day)]
    days, packs = np.unique(day, return_counts=True)
    enough = days[packs >= LEAST_SHARE_OF_PACKS * np.unique(owner).size]
    # Where packs have hardly a day in common, none is more credible than another.
    return int(enough[-1] if enough.size else days[-1])


def last_days(histories: Histories) -> DayArray:
    """Return the last day of each pack that can be believed; -1 without a reading."""
    packs = len(histories)
    last = np.full(packs, -1, dtype=np.int32)
    if histories.day.size == 0:
        return last
    owner = _owners(histories)
    believed = _in_large_runs(owner, histories.day)
    np.maximum.at(last, owner[believed], histories.day[believed])
    return last


def _owners(histories: Histories) -> CountArray:
    return np.repeat(np.arange(len(histories)), np.diff(histories.offsets))


def _in_large_runs(owner: CountArray, day: DayArray) -> Mask:
    """Say which days are in a run, between long gaps, that holds enough of its owner's.

    Parameters
    ----------
    owner, day
        Ordered by owner, then by day.
    """
    starts = (np.diff(owner) != 0) | (np.diff(day) > LONG_GAP)
    run = np.concatenate([[0], np.cumsum(starts)]).astype(np.int64)
    size, total = np.bincount(run), np.bincount(owner)
    large = size[run] >= LEAST_SHARE_OF_DAYS * total[owner]
    # Readings years apart each: then there is nothing to tell a wrong clock by.
    none_large = np.bincount(owner, large) == 0
    kept: Mask = large | none_large[owner]
    return kept


def readings_after(histories: Histories, as_of: int) -> int:
    """Count the days with a reading that lie after the day of the assessment."""
    return int((histories.day > as_of).sum())
