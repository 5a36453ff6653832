"""Rows of the outbox: messages that wait to be sent, and what became of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from sqlalchemy import ColumnElement, case, delete, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.notify import MessageKind
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.tables import outbox

RowKind = MessageKind | Literal["item"]
"""What a row is: a message, or an alert that waits for its route's next digest."""

LEASE = timedelta(minutes=2)
"""How long a claimed message is left to its collector where there are several: longer
than any send may take, so that none is sent by two. Own choice."""

_WAITING = outbox.c.sent_at.is_(None) & outbox.c.given_up_at.is_(None)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRow:
    """A row to be written; ``name`` is once for each route and matter."""

    route_id: int
    name: str
    what: RowKind
    payload: dict[str, Any]
    not_before: datetime


@dataclass(frozen=True, slots=True)
class Waiting:
    """A message that is due."""

    id: int
    route_id: int
    name: str
    what: MessageKind
    payload: dict[str, Any]
    written_at: datetime
    attempts: int


async def add_rows(
    connection: AsyncConnection, rows: Sequence[NewRow], now: datetime
) -> None:
    """Write rows, in the transaction of what they tell of; a known name is left out."""
    if not rows:
        return
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    await connection.execute(
        make_insert(outbox).on_conflict_do_nothing(
            index_elements=[outbox.c.message_id]
        ),
        [
            {
                "route_id": row.route_id,
                "message_id": row.name,
                "what": row.what,
                "payload": row.payload,
                "created_at": now,
                "not_before": row.not_before,
            }
            for row in rows
        ],
    )


async def due_routes(connection: AsyncConnection, now: datetime) -> list[int]:
    """Return the routes for which a message is due."""
    query = select(outbox.c.route_id).where(_is_due(now)).distinct()
    return list((await connection.execute(query)).scalars())


async def claim(store: Store, route_id: int, now: datetime) -> Waiting | None:
    """Take the message of a route that is to be sent next, or None.

    A SQLite store has one collector, which needs no claim: what it was about to send
    when it died is due as before. Where there are several, the message is kept from
    the others for `LEASE`.
    """
    column = outbox.c
    stop_use_first = case((column.what == "stop-use", 0), else_=1)
    query = (
        select(
            column.id,
            column.route_id,
            column.message_id,
            column.what,
            column.payload,
            column.created_at,
            column.attempts,
        )
        .where(_is_due(now), column.route_id == route_id)
        .order_by(stop_use_first, column.not_before, column.id)
        .limit(1)
        .with_for_update(skip_locked=True)
    )
    gate = store.reading() if store.is_sqlite else store.writing()
    async with gate as connection:
        row = (await connection.execute(query)).one_or_none()
        if row is None:
            return None
        if not store.is_sqlite:
            await connection.execute(
                update(outbox).where(column.id == row.id).values(not_before=now + LEASE)
            )
    return Waiting(*row)


async def mark_sent(connection: AsyncConnection, row_id: int, now: datetime) -> None:
    """Keep that the other side has accepted a message."""
    await connection.execute(
        update(outbox)
        .where(outbox.c.id == row_id)
        .values(
            sent_at=now,
            attempts=outbox.c.attempts + 1,
            # The route may have been ended while the message was on its way.
            given_up_at=None,
            last_problem=None,
        )
    )


async def put_off(
    connection: AsyncConnection,
    row_id: int,
    until: datetime,
    problem: str | None = None,
) -> None:
    """Let a message wait: after a failed try, or without one for quiet hours."""
    values: dict[str, Any] = {"not_before": until}
    if problem is not None:
        values |= {"attempts": outbox.c.attempts + 1, "last_problem": problem}
    await connection.execute(
        update(outbox).where(outbox.c.id == row_id, _WAITING).values(**values)
    )


async def give_up(
    connection: AsyncConnection, row_id: int, now: datetime, problem: str, tries: int
) -> None:
    """Keep that a message will not be sent, and why."""
    await connection.execute(
        update(outbox)
        .where(outbox.c.id == row_id, _WAITING)
        .values(given_up_at=now, last_problem=problem, attempts=tries)
    )


async def give_up_route(
    connection: AsyncConnection, route_id: int, now: datetime, problem: str
) -> int:
    """Give up what waits for a route; returns how many messages that were."""
    result = await connection.execute(
        update(outbox)
        .where(outbox.c.route_id == route_id, _WAITING)
        .values(given_up_at=now, last_problem=problem)
    )
    return result.rowcount


async def take_items(connection: AsyncConnection) -> list[tuple[int, int]]:
    """Take the alerts that wait for digests off the outbox: routes and alerts.

    Two collectors that do this at once never get the same one.
    """
    result = await connection.execute(
        delete(outbox)
        .where(outbox.c.what == "item", _WAITING)
        .returning(outbox.c.route_id, outbox.c.payload)
    )
    return [(row.route_id, row.payload["alert_id"]) for row in result]


async def forget_done(connection: AsyncConnection, before: datetime) -> int:
    """Forget messages that were sent or given up before a moment."""
    column = outbox.c
    result = await connection.execute(
        delete(outbox).where(or_(column.sent_at < before, column.given_up_at < before))
    )
    return result.rowcount


def _is_due(now: datetime) -> ColumnElement[bool]:
    return _WAITING & (outbox.c.not_before <= now) & (outbox.c.what != "item")
