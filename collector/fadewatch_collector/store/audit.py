"""The audit trail: who did what, when."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import audit


async def note(
    connection: AsyncConnection,
    now: datetime,
    who: str,
    action: str,
    subject: str,
    detail: dict[str, Any] | None = None,
) -> None:
    """Write one line of the audit trail, in the transaction of what it tells of."""
    await connection.execute(
        insert(audit).values(
            at=now, who=who, action=action, subject=subject, detail=detail
        )
    )


@dataclass(frozen=True, slots=True)
class AuditLine:
    """One line of the audit trail."""

    id: int
    at: datetime
    who: str
    action: str
    subject: str
    detail: dict[str, Any] | None


async def last_of(connection: AsyncConnection, subject: str) -> AuditLine | None:
    """Return the newest line about a subject."""
    lines = await trail_of(connection, [subject], limit=1)
    return lines[0] if lines else None


async def trail_of(
    connection: AsyncConnection, subjects: Collection[str], *, limit: int
) -> list[AuditLine]:
    """Return the newest lines about some subjects, newest first."""
    column = audit.c
    query = (
        select(*(column[name] for name in AuditLine.__slots__))
        .where(column.subject.in_(subjects))
        .order_by(column.id.desc())
        .limit(limit)
    )
    return [AuditLine(*row) for row in await connection.execute(query)]
