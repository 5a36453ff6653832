"""Daily values of packs, worked out from their readings."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from statistics import median
from typing import Any

from sqlalchemy import Select, Table, delete, select, tuple_
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.charging_day import ChargingDay, charging_day
from fadewatch_collector.store.tables import daily_capacity, daily_charging, readings
from fadewatch_common.wear import is_plausible

_CHARGING = tuple(ChargingDay.__dataclass_fields__)


async def save_days(
    connection: AsyncConnection, days: Iterable[tuple[int, date]]
) -> None:
    """Work out the daily values of packs on days anew, from their readings."""
    wanted = set(days)
    capacity: dict[tuple[int, str, date], list[Any]] = defaultdict(list)
    charging: dict[tuple[int, date], list[Any]] = defaultdict(list)
    for row in await connection.execute(_readings_of(wanted)):
        key = row.pack_id, row.measured_at.date()
        if key not in wanted:
            continue
        charging[key].append(row)
        if is_plausible(row.full_charge_capacity, row.design_capacity):
            capacity[row.pack_id, row.unit, key[1]].append(row)
    if capacity:
        values = [_capacity_day(key, rows) for key, rows in capacity.items()]
        await _upsert(connection, daily_capacity, values)
    if charging:
        values = [_charging_day(*key, rows) for key, rows in charging.items()]
        await _upsert(connection, daily_charging, values)


def _readings_of(wanted: set[tuple[int, date]]) -> Select[Any]:
    first = min(day for _, day in wanted)
    last = max(day for _, day in wanted)
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
        .where(
            column.pack_id.in_({pack_id for pack_id, _ in wanted}),
            column.measured_at >= _midnight(first),
            column.measured_at < _midnight(last) + timedelta(days=1),
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


def _capacity_day(key: tuple[int, str, date], rows: Sequence[Any]) -> dict[str, Any]:
    pack_id, unit, day = key
    cycles = [row.cycle_count for row in rows if row.cycle_count is not None]
    warmth = [row.temperature_c for row in rows if row.temperature_c is not None]
    return {
        "pack_id": pack_id,
        "unit": unit,
        "day": day,
        "design_capacity": median(row.design_capacity for row in rows),
        "full_charge_capacity": median(row.full_charge_capacity for row in rows),
        "cycle_count": max(cycles, default=None),
        "temperature_c": median(warmth) if warmth else None,
        "readings": len(rows),
    }


def _charging_day(pack_id: int, day: date, rows: Sequence[Any]) -> dict[str, Any]:
    counted = charging_day(day, rows)
    return {"pack_id": pack_id} | {name: getattr(counted, name) for name in _CHARGING}


async def _upsert(
    connection: AsyncConnection, table: Table, values: Sequence[dict[str, Any]]
) -> None:
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    statement = make_insert(table)
    keys = {column.name for column in table.primary_key}
    await connection.execute(
        statement.on_conflict_do_update(
            index_elements=list(table.primary_key),
            set_={
                column.name: statement.excluded[column.name]
                for column in table.c
                if column.name not in keys
            },
        ),
        list(values),
    )
