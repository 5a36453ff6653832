"""A forecast in a plot: an opening range, its course, and the heights it meets."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from fadewatch_collector.web.plot_scale import (
    LETTER_WIDTH,
    Frame,
    Scale,
    Value,
    places,
)

ROOMY_WIDTH = 600.0
"""Width from which names are written in full [unit]. Own choice."""


@dataclass(frozen=True, slots=True)
class Range:
    """A range of wear over time, such as a forecast's interval."""

    low: Sequence[Value]
    high: Sequence[Value]


@dataclass(frozen=True, slots=True)
class Meeting:
    """Where a forecast meets a height: the day, and the days of its interval.

    Attributes
    ----------
    name, short_name
        What is written beside it, where there is room and where there is little.
    """

    wear: float
    on: date
    earliest: date
    latest: date
    name: str
    short_name: str


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is expected: a range, the course inside it, and what it meets."""

    range: Range
    course: Sequence[Value]
    meetings: Sequence[Meeting]


@dataclass(frozen=True, slots=True)
class DrawnMeeting:
    """Where a forecast meets a height, as drawn.

    Attributes
    ----------
    at
        Place of the day; None when it lies beyond the plot.
    bar
        From the interval's first to its last day, as far as the plot goes.
    """

    y: float
    at: float | None
    bar: tuple[float, float]
    name: str
    name_x: float
    anchor: Literal["start", "end"]


@dataclass(frozen=True, slots=True)
class DrawnForecast:
    """A forecast, as drawn."""

    outline: str
    course: str
    meetings: Sequence[DrawnMeeting]


def drawn_forecast(
    forecast: Forecast | None, x: Scale, y: Scale, frame: Frame
) -> DrawnForecast | None:
    """Place a forecast's parts; None without one."""
    if forecast is None:
        return None
    way = [*forecast.range.high, *reversed(forecast.range.low)]
    return DrawnForecast(
        outline=f"M{_way(way, x, y)} Z",
        course=f"M{_way(forecast.course, x, y)}",
        meetings=[_drawn_meeting(one, x, y, frame) for one in forecast.meetings],
    )


def _way(values: Sequence[Value], x: Scale, y: Scale) -> str:
    return " L".join(f"{a} {b}" for a, b in places(values, x, y))


def _drawn_meeting(meeting: Meeting, x: Scale, y: Scale, frame: Frame) -> DrawnMeeting:
    """Write a meeting's day below its height, where the frame has room for it."""
    first, on, last = (
        x(day.toordinal()) for day in (meeting.earliest, meeting.on, meeting.latest)
    )
    is_inside = on <= frame.right_edge
    roomy = frame.width >= ROOMY_WIDTH
    name = meeting.name if roomy else meeting.short_name
    starts = is_inside and on + LETTER_WIDTH * len(name) <= frame.right_edge
    return DrawnMeeting(
        y=y(meeting.wear),
        at=on if is_inside else None,
        bar=(min(first, frame.right_edge), min(last, frame.right_edge)),
        name=name,
        name_x=on if starts else frame.right_edge,
        anchor="start" if starts else "end",
    )
