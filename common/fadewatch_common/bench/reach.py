"""When the pack is expected to pass the plan threshold, and whose fade says so."""

from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

from fadewatch_common.bench.facts import PackFacts, PackHistory, TypicalFade
from fadewatch_common.bench.words import monthly
from fadewatch_common.fade import DAYS_PER_MONTH
from fadewatch_common.policy import Policy

HORIZON_MONTHS = 120.0
"""How far ahead a crossing is named [month]: ten years, as in the analysis."""

LEAST_AGE_MONTHS = 12.0
"""Age from which the loss over a pack's whole life says something [month].

Own choice: a younger pack may have lain on a shelf for most of it.
"""

SOONER = 0.9
"""Part of the time at the present fade below which it is said that fade speeds up.

Own choice.
"""

OWN = "own history"
LENDERS = {
    OWN: "this pack's own history",
    "own pack type": "other packs of its type",
    "fleet": "the fleet's other packs",
    "published figures": "published figures (300 to 500 cycles to 80 %, some 200 a year)",
}


class Reach(NamedTuple):
    """When wear reaches the plan threshold; None: not within ten years.

    Attributes
    ----------
    early, late
        Four packs of five reach it between them.
    steady
        When it is reached at the fade of now, if that never speeds up.
    wear_then
        Wear expected at the end of the years of service [fraction].
    whose
        Whose fade it is, in words.
    is_measured
        Measured on one's own packs, not taken from publications.
    """

    early: date | None
    on: date | None
    late: date | None
    steady: date | None
    wear_then: float
    whose: str
    is_measured: bool


def end_of_service(today: date, years: float) -> date:
    """Return the day on which the years of service end."""
    return today + timedelta(days=round(years * 12 * DAYS_PER_MONTH))


def reach_of(
    pack: PackFacts, wear: float, until: date, today: date, policy: Policy
) -> Reach:
    """Say when a pack below the plan threshold reaches it."""
    history = pack.history
    # The forecast of a history that borrows its fade knows no more than the line does.
    if history is not None and history.fade_source == OWN:
        return _forecast(history, wear, until, today, policy)
    return _by_line(pack, wear, until, today, policy)


def _forecast(
    history: PackHistory, wear: float, until: date, today: date, policy: Policy
) -> Reach:
    fade = history.fade_per_month or 0.0
    points = [(today, wear)]
    points += [
        (on, limit)
        for on, limit in (
            (history.plan_on, policy.plan_wear),
            (history.replace_on, policy.replace_wear),
        )
        if on is not None and on > points[-1][0] and limit > points[-1][1]
    ]
    return Reach(
        early=history.plan_earliest,
        on=history.plan_on,
        late=history.plan_latest if history.plan_on else None,
        steady=_day_at(wear, fade, today, policy),
        # Beyond its last crossing a forecast says nothing: at least that much.
        wear_then=min(_along(points, until, fade), policy.replace_wear),
        whose=f"{LENDERS[OWN]}, now {monthly(fade)}"
        + _faster(history, wear, today, policy),
        is_measured=True,
    )


def _faster(history: PackHistory, wear: float, today: date, policy: Policy) -> str:
    """Say that the forecast is sooner than the present fade alone."""
    if history.plan_on is None or not history.fade_per_month:
        return ""
    months = (history.plan_on - today).days / DAYS_PER_MONTH
    straight = (policy.plan_wear - wear) / history.fade_per_month
    return " and expected to speed up" if months < SOONER * straight else ""


def _along(points: list[tuple[date, float]], until: date, fade: float) -> float:
    """Follow the forecast's points to a day; beyond the last at its last pace."""
    pace = fade / DAYS_PER_MONTH
    for (start, low), (end, high) in pairwise(points):
        pace = (high - low) / (end - start).days
        if until <= end:
            return low + pace * (until - start).days
    start, low = points[-1]
    return low + pace * (until - start).days


def _by_line(
    pack: PackFacts, wear: float, until: date, today: date, policy: Policy
) -> Reach:
    fade = pack.fade
    own = life_average(pack, wear, today)
    rates = [fade.slow_per_month, fade.per_month, fade.fast_per_month]
    if own is not None:
        # What it lost over its life widens what is expected of it, either way.
        rates = [min(rates[0], own), max(rates[1], own), max(rates[2], own)]
    late, on, early = (_day_at(wear, rate, today, policy) for rate in rates)
    months = (until - today).days / DAYS_PER_MONTH
    return Reach(
        early=early,
        on=on,
        late=late,
        steady=on,
        wear_then=wear + rates[1] * months,
        whose=_whose(fade, rates[1], own),
        is_measured=fade.is_measured,
    )


def _whose(fade: TypicalFade, rate: float, own: float | None) -> str:
    if own is not None and own == rate:
        return f"{monthly(rate)}, this pack's own average since it was made"
    lender = LENDERS[fade.lender]
    if fade.packs is not None:
        lender = lender.replace("other packs", f"{fade.packs} packs")
    also = "" if own is None else f"; its own average so far is {monthly(own)}"
    return f"{monthly(rate)}, typical by {lender}{also}"


def life_average(pack: PackFacts, wear: float, today: date) -> float | None:
    """Return what a pack lost a month since it was made [fraction]; None unknown."""
    made_on = pack.read.made_on
    if made_on is None or wear <= 0:
        return None
    months = (today - made_on).days / DAYS_PER_MONTH
    return wear / months if months >= LEAST_AGE_MONTHS else None


def _day_at(wear: float, rate: float, today: date, policy: Policy) -> date | None:
    if rate <= 0:
        return None
    months = (policy.plan_wear - wear) / rate
    if months > HORIZON_MONTHS:
        return None
    return today + timedelta(days=int(months * DAYS_PER_MONTH))
