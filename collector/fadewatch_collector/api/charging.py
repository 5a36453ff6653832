"""GET /charging-habits and /packs/{pack_id}/charging: how packs are charged."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.api.fields import NOTHING_ELSE
from fadewatch_collector.api.keys import SERVICES
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.wording import percent, taken
from fadewatch_collector.rules.charging import Advice, ChargingHabit, Habit, Span
from fadewatch_collector.rules.charging import Limit as ChargeLimit
from fadewatch_collector.rules.charging_day import ChargingDay
from fadewatch_collector.rules.charging_words import SOURCES, sentences, trade_off
from fadewatch_collector.usecases import charging
from fadewatch_collector.usecases.charging import (
    ChargingFilter,
    ChargingRow,
    LimitKnown,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargingQuery:
    """Which packs, and where the list goes on.

    Attributes
    ----------
    advised
        Only packs of which a charge limit is worth considering.
    charge_limit
        Whether the laptop reports one.
    """

    __pydantic_config__ = NOTHING_ELSE

    site: QueryText | None = None
    charge_limit: LimitKnown | None = None
    advised: bool = True
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class NearFullShare:
    """Share of readings near full on mains, with its 80 % interval."""

    percent: float
    low_percent: float
    high_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargingSpan:
    """What was read in some days up to ``as_of``.

    Attributes
    ----------
    last_days
        Length of the span.
    days, readings
        Days with readings of which charge and mains are known, and these readings.
    near_full
        Of them, on mains at 95 % charge or more and not discharging.
    held
        Of them, on mains below that and not charging.
    median_temperature_c, near_full_median_temperature_c
        Median of the days' medians.
    """

    last_days: int
    days: int
    readings: int
    on_mains: int
    near_full: int
    held: int
    near_full_share: NearFullShare | None
    median_temperature_c: float | None
    near_full_median_temperature_c: float | None
    lowest_charge_percent: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargingOfPack:
    """How a pack is charged; a limit is never set by the collector.

    Attributes
    ----------
    charge_limit
        What is known of the limit; ``charge_limit_percent`` is the one reported last.
    reasons
        What is said of it, in sentences.
    trade_off
        What a limit costs; null where none is worth considering.
    sources
        What is published; none of it was measured on this fleet.
    """

    as_of: date
    habit: Habit
    charge_limit: ChargeLimit
    charge_limit_percent: int | None
    advice: Advice
    spans: Sequence[ChargingSpan]
    reasons: Sequence[str]
    trade_off: str | None
    sources: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargedPack:
    """A pack that sits in a laptop, and how it is charged."""

    pack_id: int
    maker: str | None
    model: str | None
    serial: str | None
    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    site: str | None
    holder: str | None
    slot: str
    wear_percent: float | None
    band: Band
    charging: ChargingOfPack


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargingPage:
    """A part of the list: the greatest share near full on mains first.

    Attributes
    ----------
    as_of
        Day on which the habits were told; null when they have not been yet.
    next
        The ``cursor`` of the next part; null at the end.
    """

    packs: Sequence[ChargedPack]
    as_of: date | None
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyCharging:
    """A pack's readings of one day (UTC), counted as in a span."""

    day: date
    readings: int
    judged: int
    on_mains: int
    near_full: int
    held: int
    temperature_c: float | None
    near_full_temperature_c: float | None
    lowest_charge_percent: float | None
    charge_limit_percent: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackChargingDetails:
    """How one pack is charged by what is known now; days oldest first."""

    pack_id: int
    charging: ChargingOfPack
    daily: Sequence[DailyCharging]


_PAGE = TypeAdapter(ChargingPage)
_PACK = TypeAdapter(PackChargingDetails)


async def list_charging(request: web.Request) -> web.Response:
    """Answer with a part of the list."""
    query = query_of(request, ChargingQuery)
    found = await charging.charging_list(
        request.app[SERVICES],
        ChargingFilter(
            site=query.site, limit=query.charge_limit, only_advised=query.advised
        ),
        query.cursor,
        query.limit,
    )
    packs = [
        _charged(row, sentences(row.habit, found.fades.get(row.pack_id)))
        for row in found.rows
    ]
    page = ChargingPage(packs=packs, as_of=found.as_of, next=found.next_cursor)
    return reply(_PAGE, page)


async def show_pack_charging(request: web.Request) -> web.Response:
    """Answer with how one pack is charged."""
    number = number_in(request, "pack_id", "pack")
    found = await charging.pack_charging(request.app[SERVICES], number)
    details = PackChargingDetails(
        pack_id=number,
        charging=_charging(found.habit, found.said),
        daily=[_day(one) for one in found.days],
    )
    return reply(_PACK, details)


def _charged(row: ChargingRow, said: Sequence[str]) -> ChargedPack:
    return ChargedPack(
        wear_percent=percent(row.wear),
        band=row.band or "unknown",
        charging=_charging(row.habit, said),
        **taken(ChargedPack, row, without=("wear_percent", "band", "charging")),
    )


def _charging(habit: ChargingHabit, said: Sequence[str]) -> ChargingOfPack:
    return ChargingOfPack(
        as_of=habit.as_of,
        habit=habit.habit,
        charge_limit=habit.limit,
        charge_limit_percent=habit.charge_limit_percent,
        advice=habit.advice,
        spans=[_span(one) for one in (habit.recent, habit.longer)],
        reasons=said,
        trade_off=trade_off(habit.advice),
        sources=SOURCES if habit.advice != "none" else (),
    )


def _span(span: Span) -> ChargingSpan:
    share = span.near_full_share
    return ChargingSpan(
        last_days=span.length,
        days=span.days,
        readings=span.readings,
        on_mains=span.on_mains,
        near_full=span.near_full,
        held=span.held,
        near_full_share=None
        if share is None
        else NearFullShare(
            percent=round(100 * share.estimate, 1),
            low_percent=round(100 * share.low, 1),
            high_percent=round(100 * share.high, 1),
        ),
        median_temperature_c=span.temperature_c,
        near_full_median_temperature_c=span.near_full_temperature_c,
        lowest_charge_percent=percent(span.lowest_charge),
    )


def _day(day: ChargingDay) -> DailyCharging:
    return DailyCharging(
        lowest_charge_percent=percent(day.lowest_charge),
        **taken(DailyCharging, day, without=("lowest_charge_percent",)),
    )
