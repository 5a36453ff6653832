"""Size of a drawing, and the way from values to places in it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Self

LETTER_WIDTH = 7.5
"""Width of a figure in a label [unit], as the style sheet sets them."""

Value = tuple[date, float]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Frame:
    """Size of the drawing and of the margins around the plot."""

    width: float
    height: float
    left: float = 46.0
    right: float = 14.0
    top: float = 14.0
    bottom: float = 30.0

    @property
    def right_edge(self) -> float:
        """Horizontal place of the plot's right side."""
        return self.width - self.right

    @property
    def bottom_edge(self) -> float:
        """Vertical place of the plot's lower side."""
        return self.height - self.bottom

    def lowered(self, by: float) -> Self:
        """Return the frame with more room above a plot of the same size."""
        return replace(self, height=self.height + by, top=self.top + by)


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight way from values to places."""

    first: float
    last: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Return the place of a value, to a tenth of a unit."""
        part = (value - self.first) / (self.last - self.first)
        return round(self.start + part * (self.end - self.start), 1)


def places(values: Sequence[Value], x: Scale, y: Scale) -> list[Point]:
    """Return where values by day stand."""
    return [(x(day.toordinal()), y(wear)) for day, wear in values]
