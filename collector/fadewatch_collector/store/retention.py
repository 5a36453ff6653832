"""Delete what has been kept for long enough, some rows at a time."""

from collections.abc import Collection, Sequence
from datetime import date, datetime

from sqlalchemy import (
    TableClause,
    column,
    delete,
    exists,
    func,
    select,
    table,
)
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.columns import Moment, RowId
from fadewatch_collector.store.tables import (
    daily_capacity,
    daily_charging,
    filing_queue,
    packs,
    reports,
    unreadable_reports,
)
from fadewatch_collector.store.values import get_value, set_value

READINGS_KEPT_FROM = "retention:readings-kept-from"
"""Name of the value that tells since when all raw readings are there."""

REPORTS_DELETED_TO = "retention:reports-deleted-to"
"""Name of the value that tells up to when raw reports were looked at."""


async def readings_kept_from(connection: AsyncConnection) -> datetime | None:
    """Return since when all raw readings are there; None is: since ever."""
    value = await get_value(connection, READINGS_KEPT_FROM)
    return datetime.fromisoformat(value) if value else None


async def reports_deleted_to(connection: AsyncConnection) -> datetime | None:
    """Return up to which moment of receipt raw reports were deleted.

    Where none was, it is when the oldest was received; None when there is none.
    """
    value = await get_value(connection, REPORTS_DELETED_TO)
    if value:
        return datetime.fromisoformat(value)
    first: datetime | None = await connection.scalar(
        select(func.min(reports.c.received_at))
    )
    return first


async def packs_after(
    connection: AsyncConnection, pack_id: int, limit: int
) -> list[int]:
    """Return the next packs in the order of their numbers."""
    query = select(packs.c.id).where(packs.c.id > pack_id)
    return list(await connection.scalars(query.order_by(packs.c.id).limit(limit)))


def readings_named(name: str) -> TableClause:
    """Return the table of readings, or a part of it, by its name."""
    return table(name, column("pack_id", RowId), column("measured_at", Moment))


async def old_readings(
    connection: AsyncConnection,
    where: TableClause,
    pack_ids: Collection[int],
    before: datetime,
) -> list[tuple[int, int]]:
    """Count the readings of packs from before a moment: pack and number."""
    query = (
        select(where.c.pack_id, func.count())
        .where(where.c.pack_id.in_(pack_ids), where.c.measured_at < before)
        .group_by(where.c.pack_id)
        .order_by(where.c.pack_id)
    )
    return [(row[0], row[1]) for row in await connection.execute(query)]


async def delete_readings(
    connection: AsyncConnection,
    where: TableClause,
    pack_ids: Collection[int],
    before: datetime,
) -> int:
    """Delete the readings of packs from before a moment."""
    found = await connection.execute(
        delete(where).where(where.c.pack_id.in_(pack_ids), where.c.measured_at < before)
    )
    return found.rowcount


async def delete_days(
    connection: AsyncConnection, pack_ids: Sequence[int], before: date
) -> int:
    """Delete the daily values of packs from before a day."""
    count = 0
    for days in (daily_capacity, daily_charging):
        found = await connection.execute(
            delete(days).where(days.c.pack_id.in_(pack_ids), days.c.day < before)
        )
        count += found.rowcount
    return count


async def delete_reports(
    connection: AsyncConnection, since: datetime, before: datetime
) -> int:
    """Delete raw reports received between two moments.

    Those that wait to be filed stay, and those that could not be.
    """
    known = reports.c
    # The queue is short (the caller looks): it is read once for all of them.
    waiting = select(filing_queue.c.report_id)
    unreadable = exists().where(unreadable_reports.c.report_id == known.report_id)
    found = await connection.execute(
        delete(reports).where(
            known.received_at >= since,
            known.received_at < before,
            known.report_id.not_in(waiting),
            ~unreadable,
        )
    )
    await set_value(connection, REPORTS_DELETED_TO, before.isoformat())
    return found.rowcount
