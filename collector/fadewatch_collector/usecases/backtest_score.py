"""How what was said in a replay turned out."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import inf, isnan
from statistics import median

import numpy as np

from fadewatch_collector.analysis.arrays import DayArray, FloatArray
from fadewatch_collector.analysis.figures import Crossing, Thresholds
from fadewatch_collector.usecases.backtest import Step
from fadewatch_collector.usecases.together import THRESHOLDS

WAYS = (0.25, 0.50, 0.60, 0.75, 0.90)
"""Shares of the way from first reading to crossing at which a forecast is asked."""
SAME_DROP = 21
"""Two drops at most so far apart are one, its day told more exactly [day]. Ours."""
SOON = 14
"""A drop is found in time within so many days [day]."""
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Alarms:
    """Confirmed drops that were told.

    Attributes
    ----------
    borne_out
        Alarms that stand at the end, or until a newer drop took their place.
    withdrawn
        Alarms that were taken back.
    delays
        Days from the drop to the step that told it, of those borne out, ascending.
    """

    borne_out: int
    withdrawn: int
    delays: tuple[int, ...]

    @property
    def median_delay(self) -> float | None:
        """Half of the drops were told within so many days."""
        return median(self.delays) if self.delays else None

    @property
    def in_time(self) -> float | None:
        """Share of the drops that were told within `SOON` days."""
        if not self.delays:
            return None
        return sum(delay <= SOON for delay in self.delays) / len(self.delays)


@dataclass(frozen=True, slots=True)
class Asked:
    """Forecasts asked at one share of the way to a crossing that came.

    Attributes
    ----------
    median_error
        Distance between forecast and crossing, as a share of the time that was
        left when asked; infinite where most forecasts saw no crossing.
    late
        Share of forecasts later than the crossing.
    inside
        Share of crossings inside the 80 % interval.
    """

    way: float
    packs: int
    median_error: float
    late: float
    inside: float


@dataclass(frozen=True, slots=True)
class Closed:
    """Shares of the intervals that ran out inside the history, by how they ended."""

    intervals: int
    before: float
    inside: float
    after: float


@dataclass(frozen=True, slots=True)
class Forecasts:
    """How forecasts of one threshold turned out.

    Attributes
    ----------
    wear
        The threshold [fraction].
    crossed
        Packs that reached it inside their history.
    """

    wear: float
    crossed: int
    asked: tuple[Asked, ...]
    closed: Closed | None


@dataclass(frozen=True, slots=True)
class Score:
    """How a whole replay turned out."""

    packs: int
    lines: int
    pack_years: float
    alarms: Alarms
    plan: Forecasts
    replace: Forecasts


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """What was said of one pack, in time order; forecasts as on, earliest, latest."""

    as_of: FloatArray
    first: float
    end: float
    drop_on: FloatArray
    plan: FloatArray
    replace: FloatArray


@dataclass(slots=True)
class Scorer:
    """Gathers the steps of a replay and scores them in the end.

    Parameters
    ----------
    last_days
        Last day of each pack's history that can be believed [d]; what is said later
        does not count.
    step_days
        Days between two steps.
    """

    last_days: DayArray
    step_days: int
    thresholds: Thresholds = THRESHOLDS
    _lines: list[FloatArray] = field(default_factory=list)

    def add(self, step: Step) -> None:
        """Take in one step."""
        figures = step.figures
        drop_on = np.where(figures.drop.confirmed, figures.drop.on, np.nan)
        lines = np.column_stack(
            [
                step.packs,
                figures.as_of,
                figures.first_day,
                drop_on,
                *_parts(figures.plan),
                *_parts(figures.replace),
            ]
        )
        self._lines.append(lines[step.as_of <= self.last_days[step.packs]])

    def score(self) -> Score:
        """Say how everything taken in turned out."""
        courses = list(self._courses())
        plan, replace = self.thresholds.plan, self.thresholds.replace
        lines = sum(len(course.as_of) for course in courses)
        return Score(
            packs=len(courses),
            lines=lines,
            pack_years=lines * self.step_days / DAYS_PER_YEAR,
            alarms=_alarms(courses),
            plan=_forecasts(plan, [(one, one.plan) for one in courses]),
            replace=_forecasts(replace, [(one, one.replace) for one in courses]),
        )

    def _courses(self) -> Iterator[_Course]:
        if not self._lines:
            return
        lines = np.concatenate(self._lines)
        lines = lines[np.argsort(lines[:, 0], kind="stable")]
        starts = np.flatnonzero(np.diff(lines[:, 0], prepend=-1.0))
        for rows in np.split(lines, starts[1:]):
            if rows.size:
                yield _Course(
                    as_of=rows[:, 1],
                    first=float(rows[-1, 2]),
                    end=float(self.last_days[int(rows[0, 0])]),
                    drop_on=rows[:, 3],
                    plan=rows[:, 4:7],
                    replace=rows[:, 7:10],
                )


def _parts(crossing: Crossing) -> tuple[FloatArray, FloatArray, FloatArray]:
    return crossing.on, crossing.earliest, crossing.latest


def _alarms(courses: list[_Course]) -> Alarms:
    delays: list[int] = []
    withdrawn = 0
    for course in courses:
        if np.isnan(course.drop_on).all():
            continue
        own, taken_back = _alarms_of(course)
        delays.extend(own)
        withdrawn += taken_back
    return Alarms(len(delays), withdrawn, tuple(sorted(delays)))


def _alarms_of(course: _Course) -> tuple[list[int], int]:
    """Return the delays of the pack's drops that were borne out, and how many not."""
    standing: list[tuple[float, float]] = []  # day of the drop, day it was told
    withdrawn = 0
    for as_of, drop_on in zip(course.as_of, course.drop_on, strict=True):
        # Only the newest drop is told: one that is newer than what is told now, or
        # all when nothing is, has been taken back.
        while standing and not drop_on >= standing[-1][0] - SAME_DROP:
            standing.pop()
            withdrawn += 1
        if np.isnan(drop_on):
            continue
        if standing and drop_on <= standing[-1][0] + SAME_DROP:
            standing[-1] = (drop_on, standing[-1][1])
        else:
            standing.append((drop_on, as_of))
    return [max(int(told - on), 0) for on, told in standing], withdrawn


def _forecasts(
    wear: float | FloatArray, told: list[tuple[_Course, FloatArray]]
) -> Forecasts:
    crossed = [
        (course, crossing, day)
        for course, crossing in told
        if (day := _crossed_on(course, crossing)) is not None and day > course.first
    ]
    asked = (_asked(way, crossed) for way in WAYS)
    return Forecasts(
        wear=float(wear),
        crossed=len(crossed),
        asked=tuple(one for one in asked if one is not None),
        closed=_closed(told),
    )


def _crossed_on(course: _Course, crossing: FloatArray) -> float | None:
    """Return when the pack crossed, by what is said of it last; None: it did not."""
    day = float(crossing[-1, 0])
    return day if day <= course.as_of[-1] else None


def _asked(
    way: float, crossed: list[tuple[_Course, FloatArray, float]]
) -> Asked | None:
    errors, late, inside = [], 0, 0
    for course, crossing, day in crossed:
        when = course.first + way * (day - course.first)
        line = int(np.searchsorted(course.as_of, when, side="right")) - 1
        if line < 0 or course.as_of[line] >= day:
            continue
        on, earliest, latest = crossing[line].tolist()
        errors.append(_error(on, day, float(course.as_of[line])))
        late += not on <= day
        inside += earliest <= day and not latest < day
    if not errors:
        return None
    count = len(errors)
    return Asked(way, count, median(errors), late / count, inside / count)


def _error(on: float, day: float, as_of: float) -> float:
    return inf if isnan(on) else abs(on - day) / (day - as_of)


def _closed(told: list[tuple[_Course, FloatArray]]) -> Closed | None:
    """Follow each interval that was told and has run out: also of packs not crossed."""
    before = inside = after = 0
    for course, crossing in told:
        _, earliest, latest = crossing.T
        open_then = (earliest > course.as_of) & (latest <= course.end)
        day = _crossed_on(course, crossing)
        came = inf if day is None else day
        before += int((open_then & (came < earliest)).sum())
        after += int((open_then & (came > latest)).sum())
        inside += int((open_then & (came >= earliest) & (came <= latest)).sum())
    count = before + inside + after
    if not count:
        return None
    return Closed(count, before / count, inside / count, after / count)
