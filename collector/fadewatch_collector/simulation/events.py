"""Chance events in the life of a fleet: which pack, from which day, for how long."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.fleet import Numbers, Whole

DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True, eq=False)
class Events:
    """Events of one kind, one element an event.

    Attributes
    ----------
    pack
        Row of the pack.
    day
        Column of the first day.
    days
        Length [day].
    size
        Meaning and unit by kind.
    """

    pack: Whole
    day: Whole
    days: Whole
    size: Numbers

    def __len__(self) -> int:
        """Count the events."""
        return len(self.pack)

    def only(self, chosen: NDArray[np.bool_]) -> "Events":
        """Keep the chosen events."""
        return Events(
            self.pack[chosen], self.day[chosen], self.days[chosen], self.size[chosen]
        )

    def cells(self, days: int) -> tuple[Whole, Whole, Whole]:
        """Give every day of every event.

        Returns
        -------
        tuple
            Row, column and position of the event for each day inside a window
            of `days` days.
        """
        event = np.repeat(np.arange(len(self)), self.days)
        first = np.cumsum(self.days) - self.days
        column = self.day[event] + np.arange(len(event)) - first[event]
        inside = column < days
        return self.pack[event][inside], column[inside], event[inside]


def draw_events(
    rng: np.random.Generator,
    shape: tuple[int, int],
    a_year: float,
    days: tuple[int, int],
    size: tuple[float, float] = (0.0, 1.0),
) -> Events:
    """Draw events at a constant rate.

    Parameters
    ----------
    shape
        Packs and days of the window.
    a_year
        Expected events for each pack and year.
    days, size
        Shortest and longest, least and most; drawn evenly between.
    """
    packs, window = shape
    counts = rng.poisson(a_year * window / DAYS_A_YEAR, packs)
    total = int(counts.sum())
    return Events(
        pack=np.repeat(np.arange(packs), counts),
        day=rng.integers(0, window, total),
        days=rng.integers(days[0], days[1] + 1, total),
        size=rng.uniform(size[0], size[1], total),
    )
