"""How a pack is charged from day to day, and whether a charge limit is worth considering.

The times are not clocked: a share is one of readings, and laptops are read only while
they are switched on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import isnan
from typing import Any, Literal

import numpy as np

from fadewatch_collector.analysis import grouped
from fadewatch_collector.analysis.arrays import CountArray, FloatArray, Mask
from fadewatch_collector.analysis.shares import independent_count_of, wilson_interval
from fadewatch_collector.rules.charging_day import NEAR_FULL, ChargingDay

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


@dataclass(frozen=True, slots=True, eq=False)
class ChargingDays:
    """Days of several packs as arrays; of each pack the oldest first.

    Attributes
    ----------
    pack
        Place of the pack that a day is of.
    day
        Number of the day, as ``date.toordinal`` tells it.
    judged, on_mains, near_full, held
        Readings, as in :class:`~fadewatch_collector.rules.charging_day.ChargingDay`.
    temperature_c, near_full_temperature_c, lowest_charge, charge_limit_percent
        As there; NaN where unknown.
    """

    pack: CountArray
    day: CountArray
    judged: CountArray
    on_mains: CountArray
    near_full: CountArray
    held: CountArray
    temperature_c: FloatArray
    near_full_temperature_c: FloatArray
    lowest_charge: FloatArray
    charge_limit_percent: FloatArray


COUNTS = ("judged", "on_mains", "near_full", "held")
MEASURES = (
    "temperature_c",
    "near_full_temperature_c",
    "lowest_charge",
    "charge_limit_percent",
)


def habit_of(days: Sequence[ChargingDay], today: date) -> ChargingHabit:
    """Tell how a pack is charged from its days.

    Parameters
    ----------
    days
        Oldest first; what lies outside the spans is left out.
    today
        Last day of both spans.
    """
    columns: dict[str, Any] = {
        name: np.array([getattr(day, name) for day in days], dtype=kind)
        for names, kind in ((COUNTS, np.int64), (MEASURES, np.float64))
        for name in names
    }
    (habit,) = habits_of(
        ChargingDays(
            pack=np.zeros(len(days), dtype=np.int64),
            day=np.array([day.day.toordinal() for day in days], dtype=np.int64),
            **columns,
        ),
        1,
        today,
    )
    return habit


def habits_of(days: ChargingDays, packs: int, today: date) -> list[ChargingHabit]:
    """Tell how each of ``packs`` packs is charged, as :func:`habit_of` does of one."""
    ago = today.toordinal() - days.day
    in_longer = (ago >= 0) & (ago < LONGER_DAYS)
    in_recent = in_longer & (ago < RECENT_DAYS)
    longer = _spans(days, in_longer, packs, LONGER_DAYS)
    recent = _spans(days, in_recent, packs, RECENT_DAYS)
    is_recent = np.array([span.is_enough for span in recent], dtype=np.bool_)
    in_ruling = np.where(is_recent[days.pack], in_recent, in_longer)
    limit = days.charge_limit_percent
    newest = np.full(packs, np.nan)
    told = in_longer & ~np.isnan(limit)
    # Of a pack's several days the last one stays.
    newest[days.pack[told]] = limit[told]
    with_limit = in_ruling & (limit < NEAR_FULL * 100)
    pack = days.pack[with_limit]
    past = grouped.sums(days.near_full[with_limit], pack, packs)
    of_all = grouped.sums(days.judged[with_limit], pack, packs)
    has_any = (days.judged[with_limit] > 0).astype(np.int64)
    limited = grouped.sums(has_any, pack, packs)
    return [
        _told(today, *one)
        for one in zip(
            recent,
            longer,
            newest.tolist(),
            limited.tolist(),
            zip(past.tolist(), of_all.tolist(), strict=True),
            strict=True,
        )
    ]


def _told(
    today: date,
    recent: Span,
    longer: Span,
    newest: float,
    limited_days: int,
    past: tuple[int, int],
) -> ChargingHabit:
    limit = None if isnan(newest) else int(newest)
    ruling = recent if recent.is_enough else longer
    return ChargingHabit(
        as_of=today,
        recent=recent,
        longer=longer,
        habit=_habit(ruling),
        charge_limit_percent=limit,
        limit=_limit(limit, limited_days, past, ruling),
        past_limit=past,
    )


def _spans(days: ChargingDays, within: Mask, packs: int, length: int) -> list[Span]:
    pack = days.pack[within]
    judged = days.judged[within]

    def summed(values: CountArray) -> list[int]:
        totals: list[int] = grouped.sums(values, pack, packs).tolist()
        return totals

    readings, near_full = summed(judged), summed(days.near_full[within])
    squares = summed(judged * judged)
    shares = map(_share, near_full, readings, squares)
    columns = zip(
        summed((judged > 0).astype(np.int64)),
        readings,
        summed(days.on_mains[within]),
        near_full,
        summed(days.held[within]),
        shares,
        _known(grouped.medians(days.temperature_c[within], pack, packs)),
        _known(grouped.medians(days.near_full_temperature_c[within], pack, packs)),
        _known(grouped.least(days.lowest_charge[within], pack, packs)),
        strict=True,
    )
    return [Span(length, *column) for column in columns]


def _share(near_full: int, readings: int, squares: int) -> Share | None:
    if not readings:
        return None
    estimate = near_full / readings
    worth = independent_count_of(readings, squares)
    return Share(estimate, *wilson_interval(estimate, worth))


def _known(values: FloatArray) -> list[float | None]:
    return [None if isnan(value) else value for value in values.tolist()]


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
    limited_days: int,
    past: tuple[int, int],
    ruling: Span,
) -> Limit:
    if _is_set(newest):
        enough = limited_days >= LEAST_LIMIT_DAYS
        return "not kept" if enough and past[0] >= MOSTLY * past[1] else "set"
    if ruling.is_enough and ruling.on_mains and ruling.held >= MOSTLY * ruling.on_mains:
        return "held"
    return "not reported" if newest is None else "unused"
