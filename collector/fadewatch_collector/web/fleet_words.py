"""Sentences and ranges of the fleet page."""

from collections.abc import Iterator, Sequence

from fadewatch_collector.rules.fleet_outlook import ExpectedMonth, HeldRow
from fadewatch_collector.rules.held import SAID_SHARES

ENOUGH_DUE = 20
"""Forecasts whose day has come, from which on their share is worth a word [count]. Own
choice."""
YEAR_MONTHS = 13
"""The present month, and the twelve after it [count]."""
LEAST_SHOWN = 0.05
"""Count below which none is expected, to the decimal that is shown [count]."""
NOTICEABLE = 0.10
"""Difference of a share from what was said that is worth a word [fraction]. Own choice."""


def ranged(mean: float, low: int, high: int) -> str:
    """Write a count that is expected with its range, as ``3.2 (2 to 5)``."""
    if mean < LEAST_SHOWN and high == 0:
        return "none"
    return f"{mean:.1f} ({low} to {high})" if low != high else f"{mean:.1f} ({low})"


def months_story(months: Sequence[ExpectedMonth], name: str) -> str:
    """Say what a plot of months shows."""
    if not months:
        return "No pack has a forecast yet."
    year, end = months[:YEAR_MONTHS][-1], months[-1]
    return (
        f"Packs expected to pass the {name} threshold: "
        f"{ranged(year.by_then, year.by_then_low, year.by_then_high)} by the end of "
        f"{year.month:%Y-%m}, {ranged(end.by_then, end.by_then_low, end.by_then_high)} "
        f"by the end of {end.month:%Y-%m}. A stroke spans the 80 % range of its month."
    )


def held_story(row: HeldRow) -> list[str]:
    """Say how the forecasts of a threshold held, worst news first in plain words."""
    return list(_held(row))


def _held(row: HeldRow) -> Iterator[str]:
    if not row.forecasts:
        yield "No forecast has been kept yet: the first are kept within a day."
        return
    if not row.ended:
        yield (
            f"{row.forecasts} forecasts of {row.packs} packs are kept, and the latest "
            "day of none has come: it is too early to say how they hold."
        )
    else:
        part = 100 * row.within / row.ended
        yield (
            f"The latest day of {row.ended} forecasts has come: {row.within} of them "
            f"({part:.0f} %) held, where 80 % were said. {row.before} packs passed before "
            f"the earliest day, {row.after} after the latest, and {row.waiting} have not "
            "yet."
        )
    yield from _lean(row)
    yield (
        f"{row.open} of all {row.forecasts} forecasts are still open, and {row.lost} "
        "cannot be judged because the pack was taken out or fell silent first."
    )


def _lean(row: HeldRow) -> Iterator[str]:
    if row.middle_due < ENOUGH_DUE:
        return
    share = row.middle_crossed / row.middle_due
    said = (
        f"By the middle day {100 * share:.0f} % of {row.middle_due} had passed, where "
        f"{100 * SAID_SHARES[1]:.0f} % were said"
    )
    if share < SAID_SHARES[1] - NOTICEABLE:
        yield f"{said}: packs last longer than the middle day says, so it is cautious."
    elif share > SAID_SHARES[1] + NOTICEABLE:
        yield f"{said}: packs pass sooner than the middle day says, so plan earlier."
    else:
        yield f"{said}: as it should be."
