"""Reports as received, and the queue in which they wait to be filed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, delete, func, insert, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import (
    filing_queue,
    laptops,
    reports,
    unreadable_reports,
)
from fadewatch_collector.store.turns import Turn, take_turn


@dataclass(frozen=True, slots=True)
class StoredReport:
    """A report that waits to be filed."""

    queue_id: int
    report_id: str
    laptop_id: int
    received_at: datetime
    body: str


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
    known = laptops.c.last_report_at
    await connection.execute(
        update(laptops)
        .where(laptops.c.id == bindparam("laptop"))
        .where(or_(known.is_(None), known < bindparam("at")))
        .values(last_report_at=bindparam("at")),
        # In one order everywhere, so that two transactions never wait for each other.
        [{"laptop": laptop_id, "at": at} for laptop_id, at in sorted(contacts.items())],
    )


async def waiting_reports(
    connection: AsyncConnection, limit: int
) -> list[StoredReport]:
    """Return the reports that wait longest, for the one transaction that files."""
    await take_turn(connection, Turn.FILING)
    query = (
        select(
            filing_queue.c.id.label("queue_id"),
            reports.c.report_id,
            reports.c.laptop_id,
            reports.c.received_at,
            reports.c.body,
        )
        .join(reports, reports.c.report_id == filing_queue.c.report_id)
        .order_by(filing_queue.c.id)
        .limit(limit)
    )
    return [StoredReport(*row) for row in await connection.execute(query)]


async def leave_queue(connection: AsyncConnection, queue_ids: Sequence[int]) -> None:
    """Take filed reports off the queue."""
    await connection.execute(
        delete(filing_queue).where(filing_queue.c.id.in_(queue_ids))
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
