"""How well forecasts of crossings held, without waiting for those that came alone.

To count only crossings that came would favour forecasts that were early: those that said
"later" are still open. So each of a forecast's three days is asked for once it has come,
whatever became of the pack: by then a known part of the packs should have crossed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, Mask

LEADS = (91.0, 183.0, 365.0)
"""Ends of the classes of lead time, on the middle day [d]; the last class has none."""


@dataclass(frozen=True, slots=True, eq=False)
class Outcomes:
    """Forecasts and what came of them [d since 1970-01-01], one entry a forecast.

    Parameters
    ----------
    pack
        Number of the pack.
    as_of
        Day on which the forecast was made.
    earliest, on, latest
        Its 10, 50 and 90 % points; infinite where not within ten years.
    passed
        Day on which the threshold was passed; NaN: not so far.
    watched_until
        Day of the pack's last reading.
    """

    pack: CountArray
    as_of: FloatArray
    earliest: FloatArray
    on: FloatArray
    latest: FloatArray
    passed: FloatArray
    watched_until: FloatArray

    def only(self, which: Mask) -> "Outcomes":
        """Return some of the forecasts."""
        return Outcomes(*(getattr(self, each.name)[which] for each in fields(self)))


@dataclass(slots=True)
class Point:
    """One of the days that forecasts name, where it has come.

    Parameters
    ----------
    due
        Forecasts whose day has come and whose pack was watched until then, or crossed.
    crossed
        Of them, packs that had crossed by that day.
    lost
        Forecasts whose day has come, but whose pack was taken out or fell silent first.
    """

    due: int = 0
    crossed: int = 0
    lost: int = 0


@dataclass(slots=True)
class Tally:
    """What became of forecasts, counted.

    Parameters
    ----------
    forecasts
        All of them, open ones too.
    open
        Neither crossed nor past their latest day, and still watched.
    before, within, after, waiting
        Of those whose latest day has come and is known: crossed before the earliest day,
        within the interval, after the latest day, or not even yet.
    packs
        Numbers of their packs; one may stand in several of the arrays.
    errors
        Of the same as ``before``: days from the middle day to the crossing; where it has not come, to
        the last reading.
    leads
        Days from the forecast to its middle day.
    censored
        Which errors are of crossings that have not come: they are larger still.
    """

    forecasts: int = 0
    open: int = 0
    before: int = 0
    within: int = 0
    after: int = 0
    waiting: int = 0
    earliest: Point = field(default_factory=Point)
    middle: Point = field(default_factory=Point)
    latest: Point = field(default_factory=Point)
    packs: list[CountArray] = field(default_factory=list)
    errors: list[FloatArray] = field(default_factory=list)
    leads: list[FloatArray] = field(default_factory=list)
    censored: list[Mask] = field(default_factory=list)

    @property
    def pack_count(self) -> int:
        """Packs of these forecasts, each once."""
        return np.unique(np.concatenate(self.packs)).size if self.packs else 0

    def add(self, found: Outcomes, today: float) -> None:
        """Count more forecasts, by what is known on a day."""
        self.forecasts += found.as_of.size
        self.packs.append(np.unique(found.pack))
        came = ~np.isnan(found.passed)
        for point, day in (
            (self.earliest, found.earliest),
            (self.middle, found.on),
            (self.latest, found.latest),
        ):
            _count(point, found, day, today)
        ended = (found.latest <= today) & (came | (found.watched_until >= found.latest))
        is_open = ~came & (found.latest > today) & (found.watched_until <= today)
        self.open += int(is_open.sum())
        self._add_ended(found.only(ended))

    def _add_ended(self, found: Outcomes) -> None:
        came = ~np.isnan(found.passed)
        before = came & (found.passed < found.earliest)
        within = came & ~before & (found.passed <= found.latest)
        self.before += int(before.sum())
        self.within += int(within.sum())
        self.after += int((came & ~before & ~within).sum())
        self.waiting += int((~came).sum())
        known = np.where(came, found.passed, found.watched_until)
        self.errors.append(known - found.on)
        self.leads.append(found.on - found.as_of)
        self.censored.append(~came)


@dataclass(frozen=True, slots=True)
class MiddleError:
    """A median; ``at_least`` where crossings that have not come would make it larger."""

    value: float
    at_least: bool


def by_lead(found: Outcomes, tallies: Sequence[Tally], today: float) -> None:
    """Add forecasts to the tally of their lead time, one a class of `LEADS`."""
    lead = found.on - found.as_of
    place = np.searchsorted(np.array(LEADS), lead, side="right")
    for number, tally in enumerate(tallies):
        if (place == number).any():
            tally.add(found.only(place == number), today)


def median_error(tally: Tally, *, relative: bool = False) -> MiddleError | None:
    """Return the median error of forecasts whose latest day has come; None without any.

    Parameters
    ----------
    relative
        As a part of the time that the forecast said, else in days; above 0: it came later
        than said.
    """
    if not tally.errors or not sum(part.size for part in tally.errors):
        return None
    errors = np.concatenate(tally.errors)
    censored = np.concatenate(tally.censored)
    if relative:
        errors = errors / np.maximum(np.concatenate(tally.leads), 1.0)
    order = np.argsort(np.where(censored, np.inf, errors), kind="stable")
    # The lower of two middle ones: a half have an error of at most this.
    middle = order[(order.size - 1) // 2]
    if not censored[middle]:
        return MiddleError(float(errors[middle]), at_least=False)
    return MiddleError(float(np.median(errors)), at_least=True)


def _count(point: Point, found: Outcomes, day: FloatArray, today: float) -> None:
    has_come = day <= today
    crossed = has_come & (found.passed <= day)
    known = has_come & (~np.isnan(found.passed) | (found.watched_until >= day))
    point.due += int(known.sum())
    point.crossed += int(crossed.sum())
    point.lost += int((has_come & ~known).sum())
