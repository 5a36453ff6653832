"""Draw what is odd about a laptop's reports, and when."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.simulation.care.plan import Quirk, Span
from fadewatch_collector.simulation.events import DAYS_A_YEAR


@dataclass(frozen=True, slots=True)
class Rate:
    """How often a quirk comes to a laptop that has it, and for how long.

    Attributes
    ----------
    share
        Laptops that have it at all [fraction].
    a_year
        Expected times a year.
    days
        Shortest and longest [day].
    """

    share: float
    a_year: float
    days: tuple[int, int]


RATES: dict[Quirk, Rate] = {
    Quirk.NO_SERIAL: Rate(0.08, 1.0, (1, 40)),
    Quirk.EMPTY: Rate(0.10, 0.7, (1, 15)),
    Quirk.UNREADABLE: Rate(0.08, 2.0, (1, 4)),
    Quirk.OTHER_UNIT: Rate(0.05, 0.7, (4, 60)),
    Quirk.FLICKERING_UNIT: Rate(0.02, 0.7, (10, 60)),
    Quirk.PERCENT_ONLY: Rate(0.03, 0.7, (2, 20)),
    Quirk.NO_CYCLES: Rate(0.06, 1.0, (2, 40)),
    Quirk.SPOOLED: Rate(0.60, 0.8, (5, 45)),
    Quirk.OFF: Rate(0.50, 0.5, (10, 70)),
    Quirk.FACTORY_CLOCK: Rate(0.06, 0.8, (1, 10)),
    Quirk.FUTURE_CLOCK: Rate(0.02, 0.8, (1, 6)),
    Quirk.FAST_CLOCK: Rate(0.05, 1.0, (5, 60)),
    Quirk.SLOW_CLOCK: Rate(0.03, 0.8, (1, 8)),
}
"""Ours: more of each than a fleet is likely to show, so that every one is met."""


def draw_spans(rng: np.random.Generator, days: int) -> list[Span]:
    """Draw the quirks of one laptop over a window of `days` days."""
    spans: list[Span] = []
    for quirk, rate in RATES.items():
        has_it = rng.random() < rate.share
        times = int(rng.poisson(rate.a_year * days / DAYS_A_YEAR))
        for _ in range(times if has_it else 0):
            first = int(rng.integers(1, days))
            length = int(rng.integers(rate.days[0], rate.days[1] + 1))
            spans.append(Span(quirk, first, first + length - 1))
    return spans
