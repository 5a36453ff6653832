"""How a pack is charged from day to day, and whether a charge limit is worth considering.

The times are not clocked: a share is one of readings, and laptops are read only while
they are switched on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from fadewatch_collector.analysis.shares import independent_count, wilson_interval
from fadewatch_collector.rules.charging_day import NEAR_FULL, ChargingDay, median_of

Habit = Literal["near full", "mixed", "seldom full", "too few"]
Limit = Literal["set", "not kept", "held", "unused", "not reported"]
Advice = Literal["consider", "check", "none"]

RECENT_DAYS, LONGER_DAYS = 30, 90
"""Spans looked at [day]. Own choice: what is done now, and a season."""

LEAST_DAYS = 10
"""Fewest days with readings from which a habit is told [count]. Own choice."""

MOSTLY = 0.5
"""Near full as a habit: the low end of the share's interval lies here. Own choice."""

SELDOM = 0.25
"""Seldom near full: the high end of the share's interval lies here. Own choice."""

LEAST_LIMIT_DAYS = 5
"""Fewest days with a limit from which it can be said not to hold [count]. Own choice."""

HOT_C = 40.0
"""Upper end of the range to charge in, 0 to 40 degree Celsius (NFPA, as passed on by
the US Fire Administration)."""

WARM_C = 25.0
"""Between here and :data:`HOT_C` published losses at rest differ most by charge (table
in the handbook page "How to prolong lithium-based batteries") [degree Celsius]."""

PARTS = 10_000
"""Parts of one in which a list is ordered by share [count]: whole numbers page well."""


@dataclass(frozen=True, slots=True)
class Share:
    """A share of readings with its 80 % interval; a day's readings count as one."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Span:
    """What was read in a number of days up to today.

    Attributes
    ----------
    length
        Days looked at [day].
    days, readings
        Those with readings of which charge and mains are known, and these readings.
    on_mains, near_full, held
        Readings, as in :class:`~fadewatch_collector.rules.charging_day.ChargingDay`.
    near_full_share
        Share of these readings that were near full on mains; None without any.
    temperature_c, near_full_temperature_c
        Median of the days' medians [degree Celsius].
    lowest_charge
        Least charge that was read [fraction of full].
    """

    length: int
    days: int
    readings: int
    on_mains: int
    near_full: int
    held: int
    near_full_share: Share | None
    temperature_c: float | None
    near_full_temperature_c: float | None
    lowest_charge: float | None

    @property
    def is_enough(self) -> bool:
        """Say whether a habit can be told from it."""
        return self.days >= LEAST_DAYS


@dataclass(frozen=True, slots=True)
class ChargingHabit:
    """How a pack is charged.

    Attributes
    ----------
    recent, longer
        The last 30 and 90 days.
    habit
        By the recent span where it is enough, else by the longer one.
    charge_limit_percent
        The one reported last; None: none was.
    limit
        ``set`` below near full; ``not kept``: set, and the pack is charged past it;
        ``held``: none below near full is reported, and yet the pack is mostly held
        below it; ``unused``: reported, and near full or more; ``not reported``.
    past_limit
        Readings near full on days with a limit set, and all readings of those days.
    is_stopped
        Somebody or something says to stop using it: then nothing else is advised.
    """

    as_of: date
    recent: Span
    longer: Span
    habit: Habit
    charge_limit_percent: int | None
    limit: Limit
    past_limit: tuple[int, int]
    is_stopped: bool = False

    @property
    def ruling(self) -> Span:
        """The span that the habit is told by."""
        return self.recent if self.recent.is_enough else self.longer

    @property
    def advice(self) -> Advice:
        """What a person should think about."""
        if self.is_stopped or self.habit != "near full":
            return "none"
        if self.limit in {"unused", "not reported"}:
            return "consider"
        return "check" if self.limit == "not kept" else "none"

    @property
    def is_hot(self) -> bool:
        """Say whether it is mostly hot when near full on mains."""
        warmth = self.ruling.near_full_temperature_c
        return self.ruling.is_enough and warmth is not None and warmth > HOT_C

    @property
    def rank(self) -> int:
        """Place in a list: the share near full in parts of one."""
        share = self.ruling.near_full_share
        return round(share.estimate * PARTS) if share and self.ruling.is_enough else 0


def habit_of(days: Sequence[ChargingDay], today: date) -> ChargingHabit:
    """Tell how a pack is charged from its days.

    Parameters
    ----------
    days
        Oldest first; what lies outside the spans is left out.
    today
        Last day of both spans.
    """
    longer_days = _last(days, today, LONGER_DAYS)
    recent_days = _last(longer_days, today, RECENT_DAYS)
    recent, longer = _span(recent_days, RECENT_DAYS), _span(longer_days, LONGER_DAYS)
    ruling_days = recent_days if recent.is_enough else longer_days
    limits = [
        day.charge_limit_percent
        for day in longer_days
        if day.charge_limit_percent is not None
    ]
    newest = limits[-1] if limits else None
    with_limit = [day for day in ruling_days if _is_set(day.charge_limit_percent)]
    past = (sum(day.near_full for day in with_limit), sum(d.judged for d in with_limit))
    ruling = recent if recent.is_enough else longer
    return ChargingHabit(
        as_of=today,
        recent=recent,
        longer=longer,
        habit=_habit(ruling),
        charge_limit_percent=newest,
        limit=_limit(newest, with_limit, past, ruling),
        past_limit=past,
    )


def _last(days: Sequence[ChargingDay], today: date, length: int) -> list[ChargingDay]:
    since = today - timedelta(days=length)
    return [day for day in days if since < day.day <= today]


def _span(days: Sequence[ChargingDay], length: int) -> Span:
    judged = [day for day in days if day.judged]
    sizes = [day.judged for day in judged]
    readings, near_full = sum(sizes), sum(day.near_full for day in judged)
    share = None
    if readings:
        estimate = near_full / readings
        interval = wilson_interval(estimate, independent_count(sizes))
        share = Share(estimate, *interval)
    charges = [day.lowest_charge for day in days if day.lowest_charge is not None]
    return Span(
        length=length,
        days=len(judged),
        readings=readings,
        on_mains=sum(day.on_mains for day in judged),
        near_full=near_full,
        held=sum(day.held for day in judged),
        near_full_share=share,
        temperature_c=median_of([day.temperature_c for day in days]),
        near_full_temperature_c=median_of(
            [day.near_full_temperature_c for day in days]
        ),
        lowest_charge=min(charges, default=None),
    )


def _habit(ruling: Span) -> Habit:
    share = ruling.near_full_share
    if share is None or not ruling.is_enough:
        return "too few"
    if share.low >= MOSTLY:
        return "near full"
    return "seldom full" if share.high <= SELDOM else "mixed"


def _is_set(limit: int | None) -> bool:
    return limit is not None and limit < NEAR_FULL * 100


def _limit(
    newest: int | None,
    with_limit: Sequence[ChargingDay],
    past: tuple[int, int],
    ruling: Span,
) -> Limit:
    if _is_set(newest):
        enough = sum(day.judged > 0 for day in with_limit) >= LEAST_LIMIT_DAYS
        return "not kept" if enough and past[0] >= MOSTLY * past[1] else "set"
    if ruling.is_enough and ruling.on_mains and ruling.held >= MOSTLY * ruling.on_mains:
        return "held"
    return "not reported" if newest is None else "unused"
