"""Reports as received, and the queue in which they wait to be filed."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import func, insert, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.bulk import given
from fadewatch_collector.store.columns import Moment, RowId
from fadewatch_collector.store.tables import (
    filing_queue,
    laptops,
    reports,
    unreadable_reports,
)


async def add_reports(
    connection: AsyncConnection, rows: Sequence[dict[str, Any]]
) -> set[str]:
    """Insert reports that are not there yet and queue them; return their ids."""
    dialect = connection.dialect.name
    make_insert = sqlite.insert if dialect == "sqlite" else postgresql.insert
    statement = (
        make_insert(reports)
        .on_conflict_do_nothing(index_elements=[reports.c.report_id])
        .returning(reports.c.report_id)
    )
    new = set((await connection.execute(statement, list(rows))).scalars())
    if new:
        # In the order received; each id once.
        owners = {row["report_id"]: row["laptop_id"] for row in reversed(rows)}
        ordered = [i for i in dict.fromkeys(r["report_id"] for r in rows) if i in new]
        await connection.execute(
            insert(filing_queue),
            [{"report_id": i, "laptop_id": owners[i]} for i in ordered],
        )
    return new


async def note_contact(
    connection: AsyncConnection, contacts: Mapping[int, datetime]
) -> None:
    """Keep when each laptop last reported; an earlier moment changes nothing."""
    if not contacts:
        return
    heard = given(connection, {"id": RowId, "at": Moment()}, sorted(contacts.items()))
    known = laptops.c.last_report_at
    await connection.execute(
        update(laptops)
        .where(laptops.c.id == heard.c.id)
        .where(or_(known.is_(None), known < heard.c.at))
        .values(last_report_at=heard.c.at)
    )


async def set_aside(
    connection: AsyncConnection, report_id: str, problem: str, now: datetime
) -> None:
    """Keep the reason why a stored report could not be filed."""
    await connection.execute(
        insert(unreadable_reports).values(report_id=report_id, problem=problem, at=now)
    )


async def queue_depth(connection: AsyncConnection) -> int:
    """Count the reports that wait to be filed."""
    return (await connection.scalar(select(func.count(filing_queue.c.id)))) or 0
