"""Daily values of packs, worked out from their readings."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from operator import attrgetter
from statistics import median
from typing import Any

from sqlalchemy import Select, and_, delete, select, tuple_
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.charging_day import ChargingDay, charging_day
from fadewatch_collector.store.bulk import given, upsert_rows
from fadewatch_collector.store.columns import Moment, RowId
from fadewatch_collector.store.tables import daily_capacity, daily_charging, readings
from fadewatch_common.wear import is_plausible

_CAPACITY = (
    "pack_id",
    "unit",
    "day",
    "design_capacity",
    "full_charge_capacity",
    "cycle_count",
    "temperature_c",
    "readings",
)
_CHARGING = tuple(ChargingDay.__dataclass_fields__)
_counts = attrgetter(*_CHARGING)


async def save_days(
    connection: AsyncConnection, days: Iterable[tuple[int, date]]
) -> None:
    """Work out the daily values of packs on days anew, from their readings.

    A day's value is replaced only by one that more readings make: when its readings
    have been deleted since, a report that comes late cannot take its place alone, nor
    one that comes a second time.
    """
    wanted = set(days)
    capacity: dict[tuple[int, str, date], list[Any]] = defaultdict(list)
    charging: dict[tuple[int, date], list[Any]] = defaultdict(list)
    for row in await connection.execute(_readings_of(connection, wanted)):
        key = row.pack_id, row.measured_at.date()
        charging[key].append(row)
        if is_plausible(row.full_charge_capacity, row.design_capacity):
            capacity[row.pack_id, row.unit, key[1]].append(row)
    await upsert_rows(
        connection,
        daily_capacity,
        _CAPACITY,
        [_capacity_day(key, rows) for key, rows in sorted(capacity.items())],
        only_if=f"excluded.readings > {daily_capacity.name}.readings",
    )
    await upsert_rows(
        connection,
        daily_charging,
        ("pack_id", *_CHARGING),
        [_charging_day(*key, rows) for key, rows in sorted(charging.items())],
        only_if=f"excluded.readings > {daily_charging.name}.readings",
    )


def _readings_of(
    connection: AsyncConnection, wanted: set[tuple[int, date]]
) -> Select[Any]:
    # Day by day: a late report of one pack must not have all others read from then on.
    day = given(
        connection,
        {"pack_id": RowId, "first": Moment(), "last": Moment()},
        [
            (pack_id, _midnight(day), _midnight(day) + timedelta(days=1))
            for pack_id, day in sorted(wanted)
        ],
    )
    column = readings.c
    return (
        select(
            column.pack_id,
            column.measured_at,
            column.unit,
            column.design_capacity,
            column.full_charge_capacity,
            column.remaining_capacity,
            column.cycle_count,
            column.temperature_c,
            column.state,
            column.charge_limit_percent,
            column.mains_online,
        )
        .select_from(day)
        .join(
            readings,
            and_(
                column.pack_id == day.c.pack_id,
                column.measured_at >= day.c.first,
                column.measured_at < day.c.last,
            ),
        )
        .order_by(column.pack_id, column.measured_at)
    )


async def forget_days(
    connection: AsyncConnection, days: Iterable[tuple[int, date]]
) -> None:
    """Drop the daily values of packs on days, before they are worked out anew."""
    known = list(days)
    for table in (daily_capacity, daily_charging):
        key = tuple_(table.c.pack_id, table.c.day)
        await connection.execute(delete(table).where(key.in_(known)))


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)


def _capacity_day(key: tuple[int, str, date], rows: Sequence[Any]) -> tuple[Any, ...]:
    pack_id, unit, day = key
    cycles = [row.cycle_count for row in rows if row.cycle_count is not None]
    warmth = [row.temperature_c for row in rows if row.temperature_c is not None]
    return (
        pack_id,
        unit,
        day,
        median(row.design_capacity for row in rows),
        median(row.full_charge_capacity for row in rows),
        max(cycles, default=None),
        median(warmth) if warmth else None,
        len(rows),
    )


def _charging_day(pack_id: int, day: date, rows: Sequence[Any]) -> tuple[Any, ...]:
    return (pack_id, *_counts(charging_day(day, rows)))
