"""The forecast of a pack as a plot draws it: an opening band that meets thresholds."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from fadewatch_collector.usecases.overview import AssessmentRow
from fadewatch_collector.web.plot_forecast import Forecast, Meeting, Range
from fadewatch_collector.web.plot_scale import Value
from fadewatch_common.policy import Policy

AHEAD = timedelta(days=3 * 365)
"""Farthest that a plot looks ahead, unless the next threshold is farther. Own choice:
the years for which packs are planned."""

AHEAD_OF_SPAN = 1.5
"""And no farther than so many times what it looks back [ratio]. Own choice."""

BEYOND_NEXT = 1.15
"""How much farther than to the next threshold it looks then [ratio]. Own choice."""

HORIZON = timedelta(days=3652)
"""Where forecasts end: a latest day there means that day or later."""

ROUNDING = timedelta(days=2)


@dataclass(frozen=True, slots=True)
class Expected:
    """When wear is expected to pass a threshold; earliest to latest is 80 % sure."""

    name: str
    wear: float
    on: date
    earliest: date
    latest: date
    is_open_ended: bool

    @property
    def interval(self) -> str:
        """The interval in words."""
        later = " or later" if self.is_open_ended else ""
        return f"{self.earliest} to {self.latest}{later}"


def expected_of(
    assessment: AssessmentRow | None, policy: Policy, after: date
) -> list[Expected]:
    """Return the crossings that are still to come after a day, in their order."""
    return list(_expected(assessment, policy, after)) if assessment else []


def _expected(
    assessment: AssessmentRow, policy: Policy, after: date
) -> Iterator[Expected]:
    for name, wear, on, earliest, latest in (
        (
            "plan",
            policy.plan_wear,
            assessment.plan_on,
            assessment.plan_earliest,
            assessment.plan_latest,
        ),
        (
            "replace",
            policy.replace_wear,
            assessment.replace_on,
            assessment.replace_earliest,
            assessment.replace_latest,
        ),
    ):
        if on is None or earliest is None or latest is None or on <= after:
            continue
        open_ended = latest >= assessment.as_of + HORIZON - ROUNDING
        yield Expected(name, wear, on, max(earliest, after), latest, open_ended)


def forecast_from(level: Sequence[Value], expected: Sequence[Expected]) -> Forecast:
    """Return what to draw from the newest level on.

    Parameters
    ----------
    level
        The line that it goes on from; at least one value.
    expected
        At least one crossing, all above the newest level.
    """
    start, ahead = level[-1], expected
    end = _end(level[0][0], start[0], ahead)
    fast = _path(start, [(one.earliest, one.wear) for one in ahead])
    slow = _path(start, [(one.latest, one.wear) for one in ahead])
    course = _path(start, [(one.on, one.wear) for one in ahead])
    high = _cut(fast, end)
    top = high[-1][1]
    return Forecast(
        range=Range(low=_cut(slow, end), high=[*high, (min(slow[-1][0], end), top)]),
        course=_cut(course, end),
        meetings=[_meeting(one) for one in ahead],
    )


def _end(first: date, now: date, ahead: Sequence[Expected]) -> date:
    next_on = now + (ahead[0].on - now) * BEYOND_NEXT
    far = now + min(AHEAD, (now - first) * AHEAD_OF_SPAN)
    return min(ahead[-1].latest, max(far, next_on))


def _path(start: Value, ways: Sequence[Value]) -> list[Value]:
    """Join points in time order; two on one day stand a day apart."""
    path = [start]
    for day, wear in ways:
        path.append((max(day, path[-1][0] + timedelta(days=1)), wear))
    return path


def _cut(path: Sequence[Value], end: date) -> list[Value]:
    """Return the part of a path up to a day."""
    kept = [path[0]]
    for (day, wear), (next_day, next_wear) in pairwise(path):
        if next_day > end:
            part = max(0, (end - day).days) / (next_day - day).days
            kept.append((max(day, end), wear + part * (next_wear - wear)))
            break
        kept.append((next_day, next_wear))
    return kept


def _meeting(one: Expected) -> Meeting:
    return Meeting(
        wear=one.wear,
        on=one.on,
        earliest=one.earliest,
        latest=one.latest,
        name=f"{one.on} (80 %: {one.interval})",
        short_name=one.on.isoformat(),
    )
