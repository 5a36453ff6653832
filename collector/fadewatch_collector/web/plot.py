"""Geometry of the wear plot: scales, ticks and paths; no markup.

Wear grows upwards. Everything is in the plot's own units, which a page shows as CSS
pixels at the plot's natural width.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import Literal

from fadewatch_collector.web.plot_forecast import (
    DrawnForecast,
    Forecast,
    drawn_forecast,
)
from fadewatch_collector.web.plot_marks import (
    MARK_ROW,
    DrawnMark,
    Mark,
    drawn_marks,
)
from fadewatch_collector.web.plot_scale import (
    LETTER_WIDTH,
    Frame,
    Point,
    Scale,
    Value,
    places,
)
from fadewatch_collector.web.ticks import day_ticks, percent, wear_ticks

GAP_DAYS = 45
"""Days without a value after which the line is broken [day]. Own choice."""

SHORTEST_DAYS = 7
"""Shortest axis [day]. Own choice."""

POINT_SPACING = 2.0
"""Least distance of two points of the line [unit]; closer ones are one. Own choice."""

TICK_WIDTH = 88.0
"""Room that a date below the plot takes [unit]."""

NAME_INDENT = 8.0
"""Distance of a level's name from the plot's side [unit]."""
NAME_LIFT = 5.0
"""Distance of a level's name from its line [unit]."""
NAME_ROOM = 12.0
"""Distance from the wear line at which a name is read with ease [unit]. Own choice."""

HEADROOM = 0.05
"""Wear shown above the highest line or value [fraction]. Own choice."""


@dataclass(frozen=True, slots=True)
class Level:
    """A named height in the plot; a faint one is only for orientation."""

    wear: float
    name: str
    faint: bool = False


@dataclass(frozen=True, slots=True)
class Subject:
    """What is to be drawn; only the values are always there.

    Attributes
    ----------
    values
        Of the line.
    readings
        Single values, drawn as points behind it.
    """

    values: Sequence[Value]
    readings: Sequence[Value] = ()
    levels: Sequence[Level] = ()
    until: date | None = None
    forecast: Forecast | None = None
    marks: Sequence[Mark] = ()


@dataclass(frozen=True, slots=True)
class Tick:
    """A labelled place on an axis.

    Attributes
    ----------
    anchor
        Which part of the label is at the place: its end where it would not fit.
    """

    at: float
    label: str
    anchor: Literal["middle", "end"] = "middle"


@dataclass(frozen=True, slots=True)
class DrawnLevel:
    """A named height, as drawn.

    Attributes
    ----------
    name_x, name_y
        Where its name begins, or ends when ``anchor`` says so.
    """

    y: float
    name: str
    faint: bool
    name_x: float
    name_y: float
    anchor: Literal["start", "end"]


@dataclass(frozen=True, slots=True)
class Axes:
    """What the sides of the plot stand for: days, and wear as a fraction."""

    first: date
    last: date
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class Plot:
    """Everything that markup needs to draw the plot."""

    frame: Frame
    axes: Axes
    line: str
    points: str
    last: Point
    wear_ticks: Sequence[Tick]
    day_ticks: Sequence[Tick]
    levels: Sequence[DrawnLevel]
    forecast: DrawnForecast | None
    marks: Sequence[DrawnMark]


def wear_plot(subject: Subject, frame: Frame) -> Plot | None:
    """Place a plot's parts; None when there is no value to draw."""
    if not subject.values:
        return None
    first, last = _span(subject)
    x = Scale(first.toordinal(), last.toordinal(), frame.left, frame.right_edge)
    shown = [mark for mark in subject.marks if first <= mark.day <= last]
    marks, rows = drawn_marks(shown, x, frame)
    frame = frame.lowered(rows * MARK_ROW)
    lowest, highest = _wear_span(subject)
    y = Scale(lowest, highest, frame.bottom_edge, frame.top)
    most_days = max(2, int((frame.right_edge - frame.left) / TICK_WIDTH))
    points = places(subject.values, x, y)
    return Plot(
        frame=frame,
        axes=Axes(first, last, lowest, highest),
        line=_line(points, gap=x(first.toordinal() + GAP_DAYS) - frame.left),
        points=_dots(places(subject.readings, x, y)),
        last=points[-1],
        wear_ticks=[
            Tick(y(wear), percent(wear)) for wear in wear_ticks(lowest, highest)
        ],
        day_ticks=[
            _day_tick(x(day.toordinal()), label, frame)
            for day, label in day_ticks(first, last, most_days)
        ],
        levels=[
            _drawn_level(level, y(level.wear), points, frame)
            for level in subject.levels
        ],
        forecast=drawn_forecast(subject.forecast, x, y, frame),
        marks=marks,
    )


def _dots(points: Sequence[Point]) -> str:
    """Draw each point once, however many fall on it."""
    places = dict.fromkeys((round(x), round(y)) for x, y in points)
    return " ".join(f"M{x} {y}h0" for x, y in places)


def _drawn_level(
    level: Level, y: float, points: Sequence[Point], frame: Frame
) -> DrawnLevel:
    """Put a level's name at the side where the line leaves more room."""
    name_y = y - NAME_LIFT
    reach = NAME_INDENT + LETTER_WIDTH * len(level.name)
    start, end = frame.left + reach, frame.right_edge - reach
    left = _room((point for point in points if point[0] <= start), name_y)
    right = _room((point for point in points if point[0] >= end), name_y)
    is_left = left >= NAME_ROOM or left >= right
    return DrawnLevel(
        y=y,
        name=level.name,
        faint=level.faint,
        name_x=frame.left + NAME_INDENT if is_left else frame.right_edge - NAME_INDENT,
        name_y=name_y,
        anchor="start" if is_left else "end",
    )


def _room(points: Iterable[Point], name_y: float) -> float:
    middle = name_y - LETTER_WIDTH / 2
    return min((abs(y - middle) for _, y in points), default=math.inf)


def _day_tick(at: float, label: str, frame: Frame) -> Tick:
    fits = at + LETTER_WIDTH * len(label) / 2 <= frame.width
    return Tick(at, label, "middle" if fits else "end")


def _span(subject: Subject) -> tuple[date, date]:
    days = [subject.values[0][0], subject.values[-1][0]]
    days += [day for day, _ in subject.readings]
    if subject.until is not None:
        days.append(subject.until)
    if subject.forecast is not None:
        days += [day for day, _ in subject.forecast.range.high]
    first, last = min(days), max(days)
    # A pack that was seen for the first time today still needs an axis.
    return first, max(last, first + timedelta(days=SHORTEST_DAYS))


def _wear_span(subject: Subject) -> tuple[float, float]:
    heights = [wear for _, wear in subject.values]
    heights += [level.wear for level in subject.levels]
    heights += [wear for _, wear in subject.readings]
    if subject.forecast is not None:
        heights += [wear for _, wear in subject.forecast.range.high]
    lowest, highest = min(heights), max(heights)
    # A new pack often holds more than its design capacity: wear below zero.
    return min(0.0, lowest - HEADROOM / 2 if lowest < 0 else 0.0), highest + HEADROOM


def _line(points: Sequence[Point], gap: float) -> str:
    pieces: list[str] = []
    before: float | None = None
    for x, y in _thinned(points):
        starts = before is None or x - before > gap
        # Without the second half, a value alone between two gaps would not be seen.
        pieces.append(f"M{x} {y}h0" if starts else f"L{x} {y}")
        before = x
    return " ".join(pieces)


def _thinned(points: Sequence[Point]) -> list[Point]:
    """Put points that are too close to tell apart into one, by their median."""
    groups: list[list[Point]] = []
    for point in points:
        if groups and point[0] - groups[-1][0][0] < POINT_SPACING:
            groups[-1].append(point)
        else:
            groups.append([point])
    thinned = [
        (group[len(group) // 2][0], round(median(y for _, y in group), 1))
        for group in groups
    ]
    # The line ends at the newest value itself, where the drawing puts its dot.
    return thinned if thinned[-1] == points[-1] else [*thinned, points[-1]]
