"""Rows of notification routes: where messages go, and which."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Row, insert, null, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import Urgency
from fadewatch_collector.rules.notify import Channel, Quiet, Route
from fadewatch_collector.store.tables import notification_routes


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRoute:
    """A route to be kept."""

    label: str
    channel: Channel
    target: str
    secret: str | None
    urgencies: Sequence[Urgency]
    sites: Sequence[str] | None
    quiet: Quiet | None


async def add_route(
    connection: AsyncConnection, route: NewRoute, who: str, now: datetime
) -> int:
    """Keep a route and return its number."""
    quiet = route.quiet
    result = await connection.execute(
        insert(notification_routes)
        .values(
            label=route.label,
            channel=route.channel,
            target=route.target,
            secret=route.secret,
            urgencies=list(route.urgencies),
            # The database's NULL, not JSON's.
            sites=null() if route.sites is None else list(route.sites),
            quiet_from=quiet and quiet.from_minute,
            quiet_until=quiet and quiet.until_minute,
            created_at=now,
            created_by=who,
        )
        .returning(notification_routes.c.id)
    )
    return int(result.scalar_one())


async def live_routes(connection: AsyncConnection) -> list[Route]:
    """Return the routes that have not ended, oldest first."""
    column = notification_routes.c
    query = select(notification_routes).where(column.ended_at.is_(None))
    return [_route(row) for row in await connection.execute(query.order_by(column.id))]


async def live_route(connection: AsyncConnection, route_id: int) -> Route | None:
    """Return one route, unless it has ended."""
    column = notification_routes.c
    query = select(notification_routes).where(
        column.id == route_id, column.ended_at.is_(None)
    )
    row = (await connection.execute(query)).one_or_none()
    return None if row is None else _route(row)


async def end_route(connection: AsyncConnection, route_id: int, now: datetime) -> bool:
    """End a route; returns False when there is none or it has ended before."""
    column = notification_routes.c
    result = await connection.execute(
        update(notification_routes)
        .where(column.id == route_id, column.ended_at.is_(None))
        .values(ended_at=now)
    )
    return result.rowcount == 1


def _route(row: Row[Any]) -> Route:
    quiet = None
    if row.quiet_from is not None:
        quiet = Quiet(row.quiet_from, row.quiet_until)
    return Route(
        id=row.id,
        label=row.label,
        channel=row.channel,
        target=row.target,
        secret=row.secret,
        urgencies=tuple(row.urgencies),
        sites=None if row.sites is None else tuple(row.sites),
        quiet=quiet,
    )
