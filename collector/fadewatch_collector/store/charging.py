"""How packs are charged: their days, and the habits told from them."""

from collections.abc import AsyncGenerator, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from typing import Any, Literal

from sqlalchemy import (
    ColumnElement,
    Row,
    Select,
    delete,
    exists,
    func,
    literal,
    or_,
    select,
    tuple_,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.alert_terms import LIVE_STATES, URGENCIES
from fadewatch_collector.rules.charging import ChargingHabit, Share, Span
from fadewatch_collector.rules.charging_day import ChargingDay
from fadewatch_collector.rules.pack_types import pool_name
from fadewatch_collector.rules.paging import RankedKey
from fadewatch_collector.store.histories import OWN_HISTORY
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    charging_habits,
    daily_charging,
    laptops,
    packs,
    slot_stays,
)

LimitKnown = Literal["reported", "not reported"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargingFilter:
    """Which packs a list shows; None is: all of them.

    Attributes
    ----------
    only_advised
        Only those of which a limit is worth considering.
    """

    site: str | None = None
    limit: LimitKnown | None = None
    only_advised: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargingRow:
    """A pack with its habit and the laptop that it sits in; wear is a fraction."""

    pack_id: int
    maker: str | None
    model: str | None
    serial: str | None
    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    laptop_serial: str | None
    site: str | None
    holder: str | None
    slot: str
    wear: float | None
    band: Band | None
    habit: ChargingHabit

    @property
    def key(self) -> RankedKey:
        """Place in the list."""
        return RankedKey(self.habit.rank, self.pack_id)


_DAY = tuple(ChargingDay.__dataclass_fields__)


async def charging_days(
    connection: AsyncConnection, pack_ids: Collection[int], since: date
) -> dict[int, list[ChargingDay]]:
    """Return packs' days from one on, oldest first; a pack without any is left out."""
    column = daily_charging.c
    query = (
        select(column.pack_id, *(column[name] for name in _DAY))
        .where(column.pack_id.in_(pack_ids), column.day >= since)
        .order_by(column.pack_id, column.day)
    )
    rows = await connection.execute(query)
    return {
        pack_id: [ChargingDay(*row[1:]) for row in found]
        for pack_id, found in groupby(rows, lambda row: row[0])
    }


async def own_fades_of(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> dict[int, tuple[str, float]]:
    """Return pack type and fade [fraction a month] of those that have one of their own."""
    column = assessments.c
    query = (
        select(column.pack_id, packs.c.maker, packs.c.model, column.fade_per_month)
        .join(packs, packs.c.id == column.pack_id)
        .where(
            column.pack_id.in_(pack_ids),
            column.fade_source == OWN_HISTORY,
            column.fade_per_month > 0,
        )
    )
    return {
        pack_id: (pool_name(maker, model), fade)
        for pack_id, maker, model, fade in await connection.execute(query)
    }


async def stopped_packs(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> set[int]:
    """Return those of packs whose assessment or a laptop's alert says to stop."""
    stay = slot_stays.c
    query = (
        select(stay.pack_id)
        .outerjoin(assessments, assessments.c.pack_id == stay.pack_id)
        .where(stay.pack_id.in_(pack_ids), stay.until_at.is_(None), _is_stopped())
    )
    return set(await connection.scalars(query))


def _is_stopped() -> ColumnElement[bool]:
    """Say of a stay whether its pack or its laptop must not be used."""
    alerted = exists().where(
        alerts.c.laptop_id == slot_stays.c.laptop_id,
        alerts.c.urgency_rank == URGENCIES.index("stop-use"),
        alerts.c.state.in_(LIVE_STATES),
    )
    concern = func.coalesce(assessments.c.concern, "none")
    return or_(concern == "stop-use", alerted)


async def save_habits(
    connection: AsyncConnection, habits: Sequence[tuple[int, ChargingHabit]]
) -> None:
    """Keep the newest habit of each pack."""
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    statement = make_insert(charging_habits)
    await connection.execute(
        statement.on_conflict_do_update(
            index_elements=[charging_habits.c.pack_id],
            set_={
                column.name: statement.excluded[column.name]
                for column in charging_habits.c
                if column.name != "pack_id"
            },
        ),
        [_values(pack_id, habit) for pack_id, habit in habits],
    )


def _values(pack_id: int, habit: ChargingHabit) -> dict[str, Any]:
    return {
        "pack_id": pack_id,
        "as_of": habit.as_of,
        "habit": habit.habit,
        "charge_limit_percent": habit.charge_limit_percent,
        "charge_limit": habit.limit,
        "advice": habit.advice,
        "is_advised": habit.advice != "none",
        "rank": habit.rank,
        "details": {
            "recent": _span_values(habit.recent),
            "longer": _span_values(habit.longer),
            "past_limit": list(habit.past_limit),
        },
    }


_OF_SPAN = tuple(Span.__dataclass_fields__)


def _span_values(span: Span) -> dict[str, Any]:
    # Not by `asdict`, which copies each value: every pack goes through here every night.
    share = span.near_full_share
    return {name: getattr(span, name) for name in _OF_SPAN} | {
        "near_full_share": share
        and {"estimate": share.estimate, "low": share.low, "high": share.high}
    }


async def forget_habits_before(connection: AsyncConnection, day: date) -> None:
    """Drop the habits that were not told anew on a day."""
    await connection.execute(
        delete(charging_habits).where(charging_habits.c.as_of < day)
    )


async def charging_rows(
    connection: AsyncConnection,
    wanted: ChargingFilter,
    *,
    after: RankedKey | None,
    limit: int,
) -> list[ChargingRow]:
    """Return packs that sit in a laptop, the greatest share near full first."""
    query = _part(_ordered(wanted), after, limit)
    if not wanted.only_advised:
        # Found by a walk along the list's index. Left to itself, SQLite begins with
        # the packs in slots and sorts them all.
        numbers = _part(_in_order(wanted), after, limit)
        query = query.where(charging_habits.c.pack_id.in_(numbers))
    return [_charging_row(row) for row in await connection.execute(query)]


def _part(query: Select[Any], after: RankedKey | None, limit: int) -> Select[Any]:
    if after is not None:
        place = tuple_(charging_habits.c.rank, charging_habits.c.pack_id)
        passed = tuple_(literal(after.rank), literal(after.id))
        query = query.where(place < passed)
    return query.limit(limit)


def _in_order(wanted: ChargingFilter) -> Select[Any]:
    """Select the numbers of packs that sit in a laptop, advised or not, in order."""
    habit = charging_habits.c
    sits = exists().where(
        slot_stays.c.pack_id == habit.pack_id, slot_stays.c.until_at.is_(None)
    )
    if wanted.site is not None:
        sits = sits.where(
            laptops.c.id == slot_stays.c.laptop_id, laptops.c.site == wanted.site
        )
    return (
        select(habit.pack_id)
        .where(sits.correlate(charging_habits), *_limit_known(wanted))
        .order_by(habit.rank.desc(), habit.pack_id.desc())
    )


async def stream_charging(
    connection: AsyncConnection, chunk: int
) -> AsyncGenerator[Sequence[ChargingRow]]:
    """Yield every pack with a habit, in the list's order, ``chunk`` at a time."""
    query = _ordered(ChargingFilter(only_advised=False))
    async with connection.stream(query.execution_options(yield_per=chunk)) as result:
        async for rows in result.partitions():
            yield [_charging_row(row) for row in rows]


_STORED = ("as_of", "habit", "charge_limit_percent", "charge_limit", "details")
_ASSESSED = ("wear", "band")


def _ordered(wanted: ChargingFilter) -> Select[Any]:
    habit = charging_habits.c
    query = (
        select(
            *(habit[name] for name in _STORED),
            packs.c.id.label("pack_id"),
            *(packs.c[name] for name in ("maker", "model", "serial")),
            slot_stays.c.laptop_id,
            slot_stays.c.slot,
            *(laptops.c[n] for n in ("hostname", "asset_tag", "site", "holder")),
            laptops.c.serial.label("laptop_serial"),
            *(assessments.c[name] for name in _ASSESSED),
            _is_stopped().label("is_stopped"),
        )
        .select_from(charging_habits)
        .join(packs, packs.c.id == habit.pack_id)
        .join(
            slot_stays,
            (slot_stays.c.pack_id == habit.pack_id) & slot_stays.c.until_at.is_(None),
        )
        .join(laptops, laptops.c.id == slot_stays.c.laptop_id)
        .outerjoin(assessments, assessments.c.pack_id == habit.pack_id)
        .order_by(habit.rank.desc(), habit.pack_id.desc())
    )
    if wanted.only_advised:
        query = query.where(habit.is_advised.is_(True), ~_is_stopped())
    if wanted.site is not None:
        query = query.where(laptops.c.site == wanted.site)
    return query.where(*_limit_known(wanted))


def _limit_known(wanted: ChargingFilter) -> list[ColumnElement[bool]]:
    if wanted.limit is None:
        return []
    known = charging_habits.c.charge_limit_percent
    return [known.is_not(None) if wanted.limit == "reported" else known.is_(None)]


def _charging_row(row: Row[Any]) -> ChargingRow:
    known = row._asdict()
    stored = {name: known.pop(name) for name in _STORED}
    habit = replace(_habit(stored), is_stopped=bool(known.pop("is_stopped")))
    return ChargingRow(habit=habit, **known)


def _habit(stored: dict[str, Any]) -> ChargingHabit:
    details = stored["details"]
    return ChargingHabit(
        as_of=stored["as_of"],
        recent=_span(details["recent"]),
        longer=_span(details["longer"]),
        habit=stored["habit"],
        charge_limit_percent=stored["charge_limit_percent"],
        limit=stored["charge_limit"],
        past_limit=tuple(details["past_limit"]),
    )


def _span(stored: dict[str, Any]) -> Span:
    share = stored["near_full_share"]
    return Span(**stored | {"near_full_share": share and Share(**share)})
