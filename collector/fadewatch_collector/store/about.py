"""What the store tells of itself: its engine, its size, and what waits in it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select, text
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import (
    laptops,
    outbox,
    packs,
    reports,
    store_values,
    unreadable_reports,
)

SIZES = {
    "sqlite": "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size",
    "postgresql": "SELECT pg_database_size(current_database())",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreStanding:
    """How the store stands.

    Attributes
    ----------
    engine
        Name and version of the database.
    size_bytes
        What it takes on the disk [byte]; SQLite's write-ahead log is not counted.
    unreadable
        Stored reports that could not be filed [count].
    waiting_messages, given_up_messages
        Of the outbox [count].
    """

    engine: str
    size_bytes: int
    laptops: int
    packs: int
    oldest_report_at: datetime | None
    unreadable: int
    waiting_messages: int
    given_up_messages: int


async def store_standing(connection: AsyncConnection) -> StoreStanding:
    """Ask the store how it stands; a fixed number of quick questions."""
    dialect = connection.dialect.name
    version = ".".join(map(str, connection.dialect.server_version_info or ()))
    name = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}[dialect]
    message = outbox.c
    is_open = message.sent_at.is_(None) & message.given_up_at.is_(None)
    counts = select(
        _count(laptops),
        _count(packs),
        _count(unreadable_reports),
        _count(outbox, is_open & (message.what != "item")),
        _count(outbox, message.given_up_at.is_not(None)),
        # Ids of reports are in the order of time, so the first is the oldest.
        select(reports.c.received_at)
        .order_by(reports.c.report_id)
        .limit(1)
        .scalar_subquery(),
    )
    row = (await connection.execute(counts)).one()
    return StoreStanding(
        engine=f"{name} {version}".strip(),
        size_bytes=int(await connection.scalar(text(SIZES[dialect])) or 0),
        laptops=row[0],
        packs=row[1],
        unreadable=row[2],
        waiting_messages=row[3],
        given_up_messages=row[4],
        oldest_report_at=row[5],
    )


async def values_named(connection: AsyncConnection, beginning: str) -> dict[str, str]:
    """Return the store's own values whose names begin so."""
    column = store_values.c
    query = select(column.name, column.value).where(
        column.name.startswith(beginning, autoescape=True)
    )
    return {row.name: row.value for row in await connection.execute(query)}


def _count(table: Any, *conditions: Any) -> Any:
    query = select(func.count()).select_from(table).where(*conditions)
    return query.scalar_subquery()
