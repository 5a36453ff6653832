"""Rows of policy changes."""

from datetime import datetime
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import policies


async def all_changes(connection: AsyncConnection) -> dict[str, dict[str, Any]]:
    """Return what differs from the default, by scope."""
    query = select(policies.c.scope, policies.c.changes).order_by(policies.c.scope)
    return {scope: dict(changes) for scope, changes in await connection.execute(query)}


async def keep_changes(
    connection: AsyncConnection,
    scope: str,
    changes: dict[str, Any],
    who: str,
    now: datetime,
) -> None:
    """Keep a scope's changes, over those that were there; none at all removes it."""
    if not changes:
        await connection.execute(delete(policies).where(policies.c.scope == scope))
        return
    values = {"changes": changes, "changed_at": now, "changed_by": who}
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    await connection.execute(
        make_insert(policies)
        .values(scope=scope, **values)
        .on_conflict_do_update(index_elements=[policies.c.scope], set_=values)
    )
