"""Daily values of packs, worked out from their readings."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from statistics import median
from typing import Any

from sqlalchemy import delete, select, tuple_
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import daily_capacity, readings
from fadewatch_common.wear import is_plausible


async def save_days(
    connection: AsyncConnection, days: Iterable[tuple[int, date]]
) -> None:
    """Work out the daily values of packs on days anew, from their readings."""
    wanted = set(days)
    first = min(day for _, day in wanted)
    last = max(day for _, day in wanted)
    column = readings.c
    query = select(
        column.pack_id,
        column.measured_at,
        column.unit,
        column.design_capacity,
        column.full_charge_capacity,
        column.cycle_count,
        column.temperature_c,
    ).where(
        column.pack_id.in_({pack_id for pack_id, _ in wanted}),
        column.measured_at >= _midnight(first),
        column.measured_at < _midnight(last) + timedelta(days=1),
    )
    groups: dict[tuple[int, str, date], list[Any]] = defaultdict(list)
    for row in await connection.execute(query):
        day = row.measured_at.date()
        if (row.pack_id, day) in wanted and is_plausible(
            row.full_charge_capacity, row.design_capacity
        ):
            groups[row.pack_id, row.unit, day].append(row)
    if groups:
        await _upsert_days(connection, [_day(k, rows) for k, rows in groups.items()])


async def forget_days(
    connection: AsyncConnection, days: Iterable[tuple[int, date]]
) -> None:
    """Drop the daily values of packs on days, before they are worked out anew."""
    column = daily_capacity.c
    await connection.execute(
        delete(daily_capacity).where(tuple_(column.pack_id, column.day).in_(days))
    )


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)


def _day(key: tuple[int, str, date], rows: Sequence[Any]) -> dict[str, Any]:
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


async def _upsert_days(
    connection: AsyncConnection, values: Sequence[dict[str, Any]]
) -> None:
    dialect = connection.dialect.name
    statement = (
        sqlite.insert(daily_capacity)
        if dialect == "sqlite"
        else postgresql.insert(daily_capacity)
    )
    keys = {column.name for column in daily_capacity.primary_key}
    await connection.execute(
        statement.on_conflict_do_update(
            index_elements=list(daily_capacity.primary_key),
            set_={
                column.name: statement.excluded[column.name]
                for column in daily_capacity.c
                if column.name not in keys
            },
        ),
        list(values),
    )
