"""Counts that tell an administrator how the store stands."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select, text
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.about import SIZES
from fadewatch_collector.store.tables import alerts, outbox


@dataclass(frozen=True, slots=True)
class AlertCount:
    """How many alerts of a kind and urgency have not ended."""

    kind: str
    urgency: str
    count: int


@dataclass(frozen=True, slots=True)
class Outbox:
    """Messages that wait to be sent, and since when the first does."""

    waiting: int
    since: datetime | None


async def open_alerts(connection: AsyncConnection) -> tuple[AlertCount, ...]:
    """Count the alerts that have not ended; it looks at each of them."""
    column = alerts.c
    query = (
        select(column.kind, column.urgency, func.count())
        .where(column.state != "ended")
        .group_by(column.kind, column.urgency)
    )
    return tuple(AlertCount(*row) for row in await connection.execute(query))


async def waiting_messages(connection: AsyncConnection) -> Outbox:
    """Count the messages that wait; alerts kept for a digest are none."""
    column = outbox.c
    query = select(func.count(), func.min(column.created_at)).where(
        column.sent_at.is_(None), column.given_up_at.is_(None), column.what != "item"
    )
    return Outbox(*(await connection.execute(query)).one())


async def given_up_messages(connection: AsyncConnection) -> int:
    """Count the messages that were given up and are not forgotten yet."""
    query = select(func.count()).where(outbox.c.given_up_at.is_not(None))
    return int(await connection.scalar(query) or 0)


async def size_bytes(connection: AsyncConnection) -> int:
    """Return what the store takes on the disk; not SQLite's write-ahead log [byte]."""
    return int(await connection.scalar(text(SIZES[connection.dialect.name])) or 0)
