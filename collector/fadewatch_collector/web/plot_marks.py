"""Named days above a plot: which row their names stand in, and on which side."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from fadewatch_collector.web.plot_scale import Frame, Scale

MARK_ROW = 17.0
"""Height of a row of names [unit]."""

MOST_ROWS = 4
"""Rows of names at most [count]; what finds no room has its name in the table only."""

SIGN_WIDTH = 9.0
"""Room from a mark's line to its name [unit], for its sign."""

LETTER_WIDTH = 7.0
"""Width of a letter of a name [unit], as the style sheet sets them."""

BETWEEN = 8.0
"""Least room between two names in a row [unit]."""

MarkSort = Literal["drop", "knee", "swap", "inspection", "signs", "alert"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A named day, such as the day of a swap."""

    day: date
    name: str
    sort: MarkSort


@dataclass(frozen=True, slots=True)
class DrawnMark:
    """A named day, as drawn.

    Attributes
    ----------
    y
        Height of the sign and the name.
    name
        Empty where there was no room for it.
    """

    at: float
    y: float
    name: str
    sort: MarkSort
    name_x: float
    anchor: Literal["start", "end"]


def drawn_marks(
    marks: Sequence[Mark], x: Scale, frame: Frame
) -> tuple[list[DrawnMark], int]:
    """Return the marks with their names in rows, and how many rows there are."""
    taken: list[list[tuple[float, float]]] = []
    drawn: list[DrawnMark] = []
    for mark in sorted(marks, key=lambda mark: mark.day):
        at = x(mark.day.toordinal())
        reach = SIGN_WIDTH + LETTER_WIDTH * len(mark.name)
        starts = at + reach <= frame.width
        span = (
            (at - SIGN_WIDTH, at + reach) if starts else (at - reach, at + SIGN_WIDTH)
        )
        row = _row_for(span, taken)
        drawn.append(
            DrawnMark(
                at=at,
                y=frame.top + MARK_ROW * max(0, row),
                name=mark.name if row >= 0 else "",
                sort=mark.sort,
                name_x=at + SIGN_WIDTH if starts else at - SIGN_WIDTH,
                anchor="start" if starts else "end",
            )
        )
    return drawn, len(taken)


def _row_for(span: tuple[float, float], taken: list[list[tuple[float, float]]]) -> int:
    """Take the first row with room; -1 when there is none."""
    first, last = span
    for number, row in enumerate(taken):
        if all(last + BETWEEN <= a or b + BETWEEN <= first for a, b in row):
            row.append(span)
            return number
    if len(taken) == MOST_ROWS:
        return -1
    taken.append([span])
    return len(taken) - 1
