"""Queries about sessions: who is signed in, since when, and until when."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, and_, delete, func, insert, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store.accounts import able_operators, operator_from
from fadewatch_collector.store.tables import operator_sessions, operators


@dataclass(frozen=True, slots=True)
class LiveSession:
    """A session that has not ended, without what opens it.

    Attributes
    ----------
    digest
        Of its token: names the session, and opens nothing.
    used_at
        Up to a minute before it was used last.
    opened_by
        How the person showed who they are; None is not known.
    """

    digest: bytes
    created_at: datetime
    used_at: datetime
    expires_at: datetime
    opened_by: str | None


def _lives(now: datetime, idle: timedelta) -> ColumnElement[bool]:
    return and_(operator_sessions.c.expires_at > now, _used_at() > now - idle)


def _used_at() -> ColumnElement[datetime]:
    return func.coalesce(
        operator_sessions.c.used_at,
        operator_sessions.c.created_at,
        type_=operator_sessions.c.created_at.type,
    )


async def add_session(
    connection: AsyncConnection,
    digest: bytes,
    operator_id: int,
    now: datetime,
    expires_at: datetime,
    opened_by: str,
) -> None:
    """Keep a session, and forget the expired ones."""
    await connection.execute(
        delete(operator_sessions).where(operator_sessions.c.expires_at <= now)
    )
    await connection.execute(
        insert(operator_sessions).values(
            digest=digest,
            operator_id=operator_id,
            created_at=now,
            used_at=now,
            expires_at=expires_at,
            opened_by=opened_by,
        )
    )


async def session_operator(
    connection: AsyncConnection, digest: bytes, now: datetime, idle: timedelta
) -> tuple[Operator, datetime] | None:
    """Return whose session it is and when it was used, while it lives.

    None when there is none, it has expired or was idle for too long, or its operator
    is disabled.
    """
    query = (
        able_operators()
        .add_columns(_used_at().label("used_at"))
        .join(operator_sessions, operator_sessions.c.operator_id == operators.c.id)
        .where(operator_sessions.c.digest == digest, _lives(now, idle))
    )
    row = (await connection.execute(query)).one_or_none()
    return None if row is None else (operator_from(row), row.used_at)


async def mark_used(connection: AsyncConnection, digest: bytes, now: datetime) -> None:
    """Note that a session is in use."""
    await connection.execute(
        update(operator_sessions)
        .where(operator_sessions.c.digest == digest)
        .values(used_at=now)
    )


async def live_sessions(
    connection: AsyncConnection, operator_id: int, now: datetime, idle: timedelta
) -> list[LiveSession]:
    """Return an operator's sessions, the newest first."""
    rows = await connection.execute(
        select(
            operator_sessions.c.digest,
            operator_sessions.c.created_at,
            _used_at().label("used_at"),
            operator_sessions.c.expires_at,
            operator_sessions.c.opened_by,
        )
        .where(operator_sessions.c.operator_id == operator_id, _lives(now, idle))
        .order_by(operator_sessions.c.created_at.desc(), operator_sessions.c.digest)
    )
    return [
        LiveSession(
            digest=row.digest,
            created_at=row.created_at,
            used_at=row.used_at,
            expires_at=row.expires_at,
            opened_by=row.opened_by,
        )
        for row in rows
    ]


async def opened_by(connection: AsyncConnection, digest: bytes) -> str | None:
    """Return how a session was opened; None when there is none or it is not known."""
    way: str | None = await connection.scalar(
        select(operator_sessions.c.opened_by).where(
            operator_sessions.c.digest == digest
        )
    )
    return way


async def end_session(
    connection: AsyncConnection, digest: bytes, operator_id: int | None = None
) -> bool:
    """Forget one session, only if it is an operator's where one is given."""
    query = delete(operator_sessions).where(operator_sessions.c.digest == digest)
    if operator_id is not None:
        query = query.where(operator_sessions.c.operator_id == operator_id)
    return (await connection.execute(query)).rowcount > 0


async def end_all_sessions(connection: AsyncConnection) -> int:
    """Forget the sessions of everybody, and return how many there were."""
    ended = await connection.execute(delete(operator_sessions))
    return ended.rowcount
