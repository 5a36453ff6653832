"""What the laptop page shows of one pack."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.usecases.overview import DailyValue, PackStay
from fadewatch_collector.web.plot import (
    Frame,
    Level,
    Plot,
    Subject,
    wear_plot,
)
from fadewatch_collector.web.ticks import percent as level_percent
from fadewatch_collector.web.words import percent
from fadewatch_common.policy import PUBLISHED_END_OF_LIFE_WEAR, Policy
from fadewatch_common.wear import wear

WIDE = Frame(width=760, height=300)
NARROW = Frame(width=330, height=250, left=40, right=8)
"""Text in a drawing shrinks with it, so phones get a drawing of their own."""


@dataclass(frozen=True, slots=True)
class MonthRow:
    """The newest daily value of one month."""

    value: DailyValue
    wear: float


@dataclass(frozen=True, slots=True)
class PackPanel:
    """One pack, with its plots for wide and narrow screens and the table behind them.

    Attributes
    ----------
    wear
        By the newest assessment, or by the newest daily value before the first one.
    story
        The plot in a sentence.
    """

    stay: PackStay
    wear: float | None
    band: Band
    plots: Sequence[tuple[str, Plot]]
    story: str
    months: Sequence[MonthRow]


def panels_of(
    stays: Sequence[PackStay],
    daily: Mapping[int, Sequence[DailyValue]],
    policy: Policy,
    today: date,
) -> list[PackPanel]:
    """Return a panel for each stay of a pack."""
    return [_panel(stay, daily[stay.pack_id], policy, today) for stay in stays]


def _panel(
    stay: PackStay, values: Sequence[DailyValue], policy: Policy, today: date
) -> PackPanel:
    wears = [(value.day, _wear(value)) for value in values]
    subject = Subject(
        values=wears,
        levels=_levels(policy),
        until=today if stay.until_at is None else None,
    )
    drawn = [(name, wear_plot(subject, frame)) for name, frame in _FRAMES]
    newest = wears[-1][1] if wears else None
    assessed = stay.assessment
    return PackPanel(
        stay=stay,
        wear=newest if assessed is None else assessed.wear,
        band=_band(newest, policy) if assessed is None else assessed.band,
        plots=[(name, plot) for name, plot in drawn if plot is not None],
        story=_story(wears),
        months=_months(values),
    )


_FRAMES = (("wide", WIDE), ("narrow", NARROW))


def _wear(value: DailyValue) -> float:
    return wear(value.full_charge_capacity, value.design_capacity)


def _band(newest: float | None, policy: Policy) -> Band:
    if newest is None:
        return "unknown"
    if newest >= policy.replace_wear:
        return "replace"
    return "plan" if newest >= policy.plan_wear else "sound"


def _levels(policy: Policy) -> list[Level]:
    published = level_percent(PUBLISHED_END_OF_LIFE_WEAR)
    return [
        Level(
            policy.replace_wear, f"replace from {level_percent(policy.replace_wear)}"
        ),
        Level(policy.plan_wear, f"plan from {level_percent(policy.plan_wear)}"),
        Level(
            PUBLISHED_END_OF_LIFE_WEAR,
            f"{published}: end of life as published",
            faint=True,
        ),
    ]


def _story(wears: Sequence[tuple[date, float]]) -> str:
    if not wears:
        return "No daily value yet."
    (first, before), (last, now) = wears[0], wears[-1]
    if first == last:
        return f"Wear was {percent(now)} on {last}."
    return (
        f"Wear went from {percent(before)} on {first} to {percent(now)} on {last}, "
        f"by {len(wears)} daily values."
    )


def _months(values: Sequence[DailyValue]) -> list[MonthRow]:
    newest_first = reversed(values)
    months = groupby(newest_first, key=lambda value: (value.day.year, value.day.month))
    newest = [next(of_month) for _, of_month in months]
    return [MonthRow(value, _wear(value)) for value in newest]
