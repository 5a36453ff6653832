"""Round places for the axes of a plot, and how they are labelled."""

import math
from collections.abc import Iterable
from datetime import date, timedelta

WEAR_STEPS = (0.02, 0.05, 0.10, 0.20, 0.50)
MOST_WEAR_TICKS = 6
MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120)
DAY_STEPS = (1, 2, 7, 14)
SHORT_SPAN_DAYS = 75
"""Span below which ticks are days and not months [day]. Own choice."""

MONTHS_A_YEAR = 12

MINUS = "\N{MINUS SIGN}"
"""A hyphen before a figure is easily overlooked."""


def percent(wear: float) -> str:
    """Write a fraction as percent, as axes and levels are labelled."""
    return f"{wear * 100:z.4g} %".replace("-", MINUS)


def wear_ticks(lowest: float, highest: float) -> list[float]:
    """Return round heights between two wears, a handful at most."""
    for step in WEAR_STEPS:
        first = math.ceil(round(lowest / step, 6))
        last = math.floor(round(highest / step, 6))
        if last - first < MOST_WEAR_TICKS:
            return [round(step * count, 6) for count in range(first, last + 1)]
    return [0.0]


def day_ticks(first: date, last: date, most: int) -> list[tuple[date, str]]:
    """Return round days between two days with their labels, ``most`` at most."""
    if (last - first).days < SHORT_SPAN_DAYS:
        every = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        days = _fitting((every[::step] for step in DAY_STEPS), most)
        return [(day, day.isoformat()) for day in days]
    starts = _month_starts(first, last)
    months = _fitting(
        ([day for day in starts if _months(day) % step == 0] for step in MONTH_STEPS),
        most,
    )
    whole_years = all(month.month == 1 for month in months)
    return [(day, f"{day:%Y}" if whole_years else f"{day:%Y-%m}") for day in months]


def _fitting(choices: Iterable[list[date]], most: int) -> list[date]:
    """Return the first choice that is short enough, or a part of the last one."""
    chosen: list[date] = []
    for chosen in choices:
        if len(chosen) <= most:
            return chosen
    return chosen[:: math.ceil(len(chosen) / most)]


def _month_starts(first: date, last: date) -> list[date]:
    begin = _months(first) + (first.day > 1)
    return [
        date(count // MONTHS_A_YEAR, count % MONTHS_A_YEAR + 1, 1)
        for count in range(begin, _months(last) + 1)
    ]


def _months(day: date) -> int:
    return day.year * MONTHS_A_YEAR + day.month - 1
