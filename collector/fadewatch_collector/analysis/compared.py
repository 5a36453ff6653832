"""Whether some packs fade faster than others: by when they pass, and by how they fade.

Lives say it best but late: packs must pass a threshold first. Fades say it early.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, Mask
from fadewatch_collector.analysis.logrank import log_rank
from fadewatch_collector.analysis.shift import Pair, rank_test, shift
from fadewatch_collector.analysis.survival import (
    Lives,
    Median,
    SurvivalCurve,
    at_risk_at,
    median_time,
    survival_at,
    survival_curve,
    well_watched_since,
)

LEAST_PACKS, LEAST_OTHERS = 5, 10
"""Fewest packs of a group, and of those it is compared with. Own choice: the tests lean on
the normal distribution, and with five packs their least p-value is near 0.001."""
LEAST_EVENTS = 5
"""Fewest packs that have passed, of both together; own choice."""
LEAST_AT_RISK = 5
"""A curve is shown from where so many packs are at risk; own choice."""
SETTLING_DAYS = 14.0
"""A pack that passes so soon after it was first seen was past already [d]; own choice."""
LONGEST_LIFE_DAYS = 15 * 365.25
"""A pack made longer before it was first seen tells a wrong date [d]; own choice."""
YEAR = 365.25
LEAST_FADE = 1e-4
"""Fades below count as this much [fraction a month]: a logarithm needs one above 0."""
MOST_VALUES = 400
"""Values of one stratum at most [count]; more are thinned to evenly spaced ranks."""

Axis = Literal["age", "since first seen"]


@dataclass(frozen=True, slots=True, eq=False)
class Watched:
    """What is known of packs, one entry a pack; days since 1970-01-01 [d], NaN unknown.

    Parameters
    ----------
    made, first_seen, last_seen
        Days on which it was made, first seen and last seen.
    passed
        Day since which it is past the common threshold; NaN: it is not.
    known
        Its wear is known: whether it has passed can be told.
    fade
        What its own history shows [fraction a month].
    """

    made: FloatArray
    first_seen: FloatArray
    last_seen: FloatArray
    passed: FloatArray
    known: Mask
    fade: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Watch:
    """Lives on one axis of time, and of which packs they are.

    Parameters
    ----------
    usable
        Packs that say something on this axis.
    entry, exit, event
        As in `Lives`; to be read where ``usable``.
    """

    axis: Axis
    usable: Mask
    entry: FloatArray
    exit: FloatArray
    event: Mask

    def lives(self, which: Mask) -> Lives:
        """Return the lives of some packs, all of them usable."""
        return Lives(self.entry[which], self.exit[which], self.event[which])


@dataclass(frozen=True, slots=True)
class LivesCompared:
    """When packs of a group pass the threshold, and when others do.

    Parameters
    ----------
    packs, passed, other_packs, other_passed
        Packs watched, and how many of them passed meanwhile.
    expected
        How many of the group would have, were all alike.
    since
        Time from which the medians are told [d]; they are of packs not past until then.
    median, other_median
        Time by which half have passed [d].
    at, gone, other_gone
        A time at which both groups are still watched well [d], and the parts that had
        passed by then, after ``since``.
    """

    axis: Axis
    packs: int
    passed: int
    other_packs: int
    other_passed: int
    expected: float
    since: float
    median: Median
    other_median: Median
    at: float
    gone: float
    other_gone: float
    p_value: float


@dataclass(frozen=True, slots=True)
class FadesCompared:
    """How much faster packs of a group fade than others.

    Parameters
    ----------
    typical, other_typical
        Median fade [fraction a month].
    ratio, low, high
        Fade over that of others, with 95 % limits.
    same_age
        Each was compared with others of its own age class only.
    """

    packs: int
    other_packs: int
    typical: float
    other_typical: float
    ratio: float
    low: float
    high: float
    same_age: bool
    p_value: float


def watches(packs: Watched) -> dict[Axis, Watch]:
    """Return the lives of packs by age, and by the time since they were first seen.

    Two axes, never mixed: a pack whose day of making is not known has no age.
    """
    believable = (packs.first_seen - packs.made >= 0) & (
        packs.first_seen - packs.made <= LONGEST_LIFE_DAYS
    )
    return {
        "age": _watch("age", packs, packs.made, believable),
        "since first seen": _watch(
            "since first seen", packs, packs.first_seen, np.isfinite(packs.first_seen)
        ),
    }


def _watch(axis: Axis, packs: Watched, birth: FloatArray, born: Mask) -> Watch:
    entry = packs.first_seen + SETTLING_DAYS - birth
    event = np.isfinite(packs.passed)
    leaves = np.where(event, packs.passed, packs.last_seen) - birth
    usable = packs.known & born & (leaves > entry)
    return Watch(axis, usable, entry, leaves, event)


def compare_lives(
    watched: dict[Axis, Watch], group: Mask, others: Mask
) -> LivesCompared | None:
    """Compare when packs of a group and others pass; None where too little is known.

    Age is the axis where enough packs of the group have one, and at least half of them.
    """
    by_age, by_sight = watched["age"], watched["since first seen"]
    aged = int(np.sum(by_age.usable & group))
    is_aged = aged >= LEAST_PACKS and 2 * aged >= np.sum(by_sight.usable & group)
    watch = by_age if is_aged else by_sight
    mine, theirs = watch.usable & group, watch.usable & others
    both = mine | theirs
    events = int(np.sum(watch.event & both))
    if mine.sum() < LEAST_PACKS or theirs.sum() < LEAST_OTHERS or events < LEAST_EVENTS:
        return None
    test = log_rank(watch.lives(both), mine[both])
    if test.variance <= 0:
        return None
    first, second = watch.lives(mine), watch.lives(theirs)
    since = max(well_watched_since(one, LEAST_AT_RISK) for one in (first, second))
    curves = [survival_curve(one, since) for one in (first, second)]
    at = _last_well_watched(first, second)
    return LivesCompared(
        axis=watch.axis,
        packs=len(first),
        passed=test.observed,
        other_packs=len(second),
        other_passed=events - test.observed,
        expected=test.expected,
        since=since,
        median=median_time(curves[0]),
        other_median=median_time(curves[1]),
        at=at,
        gone=_gone(curves[0], at),
        other_gone=_gone(curves[1], at),
        p_value=test.p_value,
    )


def _gone(curve: SurvivalCurve, at: float) -> float:
    return 1.0 - survival_at(curve, at)


def _last_well_watched(first: Lives, second: Lives) -> float:
    """Return the last quarter of a year at which both have enough packs at risk."""
    quarters = np.arange(1.0, 4 * LONGEST_LIFE_DAYS / YEAR) * YEAR / 4
    enough = (at_risk_at(first, quarters) >= LEAST_AT_RISK) & (
        at_risk_at(second, quarters) >= LEAST_AT_RISK
    )
    return float(quarters[np.flatnonzero(enough)[-1]]) if enough.any() else 0.0


def compare_fades(packs: Watched, group: Mask, others: Mask) -> FadesCompared | None:
    """Compare the fades of a group and of others; None where too few are known.

    Fade changes with age, so each is compared within its own year of age; where the
    group has no others of its age, with all of them.
    """
    told = packs.known & np.isfinite(packs.fade)
    mine, theirs = told & group, told & others
    logs = np.log(np.maximum(packs.fade, LEAST_FADE))
    strata = list(_strata(logs, _age_class(packs), mine, theirs))
    same_age = sum(first.size for first, _ in strata) >= LEAST_PACKS
    same_age &= sum(second.size for _, second in strata) >= LEAST_OTHERS
    if not same_age:
        strata = [(logs[mine], logs[theirs])]
    counts = [sum(pair[side].size for pair in strata) for side in (0, 1)]
    if counts[0] < LEAST_PACKS or counts[1] < LEAST_OTHERS:
        return None
    thinned = [(_thinned(first), _thinned(second)) for first, second in strata]
    test = rank_test(strata)
    found = np.exp([*_shift_of(thinned)])
    return FadesCompared(
        packs=counts[0],
        other_packs=counts[1],
        typical=float(np.median(packs.fade[mine])),
        other_typical=float(np.median(packs.fade[theirs])),
        ratio=float(found[0]),
        low=float(found[1]),
        high=float(found[2]),
        same_age=bool(same_age),
        p_value=test.p_value,
    )


def _shift_of(strata: list[Pair]) -> tuple[float, float, float]:
    found = shift(strata)
    return found.estimate, found.low, found.high


def _age_class(packs: Watched) -> CountArray:
    """Return the year of age of each pack; ages since first seen stand apart."""
    aged = np.isfinite(packs.made) & (packs.made <= packs.last_seen)
    born = np.where(aged, packs.made, packs.first_seen)
    years = np.floor((packs.last_seen - born) / YEAR).astype(np.int64)
    return np.where(aged, years, -1 - years)


def _strata(
    values: FloatArray, classes: CountArray, mine: Mask, theirs: Mask
) -> Iterator[Pair]:
    for number in np.unique(classes[mine]).tolist():
        same = classes == number
        if (same & theirs).any():
            yield values[same & mine], values[same & theirs]


def _thinned(values: FloatArray) -> FloatArray:
    if values.size <= MOST_VALUES:
        return values
    places = (np.arange(MOST_VALUES) + 0.5) * values.size / MOST_VALUES
    return np.sort(values)[places.astype(np.int64)]
