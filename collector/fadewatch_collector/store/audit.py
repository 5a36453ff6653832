"""The audit trail: who did what, when."""

from datetime import datetime
from typing import Any

from sqlalchemy import insert
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
