"""Counts for lists: how many alerts wait, how many laptops there are."""

from collections.abc import Collection
from typing import Any

from sqlalchemy import Select, func, literal, select, union_all
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import (
    LIVE_STATES,
    URGENCIES,
    AlertState,
    Urgency,
)
from fadewatch_collector.store.tables import alerts, laptops


async def alerts_up_to(
    connection: AsyncConnection, site: str | None, most: int
) -> dict[Urgency, int]:
    """Count the alerts that are not over, by urgency; every urgency is there.

    Parameters
    ----------
    most
        Of an urgency in one state no more are counted than this and one.
    """
    some = [
        select(
            literal(rank).label("rank"),
            select(func.count())
            .select_from(_waiting(site, rank, state).limit(most + 1).subquery())
            .scalar_subquery()
            .label("alerts"),
        )
        for rank in range(len(URGENCIES))
        for state in LIVE_STATES
    ]
    counts = dict.fromkeys(URGENCIES, 0)
    for rank, count in await connection.execute(union_all(*some)):
        counts[URGENCIES[rank]] += count
    return counts


def _waiting(site: str | None, rank: int, state: AlertState) -> Select[Any]:
    column = alerts.c
    query = select(column.id).where(column.state == state, column.urgency_rank == rank)
    if site is not None:
        query = query.where(column.site == site)
    # As the index has them. Without an order PostgreSQL, which thinks that so many are
    # found soon, reads the table from its beginning: all of it where there are few.
    return query.order_by(column.opened_at, column.id)


async def alerts_in_all(
    connection: AsyncConnection, site: str | None, urgencies: Collection[Urgency]
) -> dict[Urgency, int]:
    """Count the alerts of some urgencies that are not over, however many."""
    column = alerts.c
    query = (
        select(column.urgency_rank, func.count().label("alerts"))
        .where(
            column.state.in_(LIVE_STATES),
            column.urgency_rank.in_([URGENCIES.index(one) for one in urgencies]),
        )
        .group_by(column.urgency_rank)
    )
    if site is not None:
        query = query.where(column.site == site)
    rows = await connection.execute(query)
    found = {URGENCIES[rank]: count for rank, count in rows}
    return {urgency: found.get(urgency, 0) for urgency in urgencies}


async def laptops_up_to(connection: AsyncConnection, most: int) -> int:
    """Count the laptops, no more of them than ``most`` and one."""
    some = select(laptops.c.id).limit(most + 1).subquery()
    return await connection.scalar(select(func.count()).select_from(some)) or 0


async def laptops_in_all(connection: AsyncConnection) -> int:
    """Count the laptops, however many."""
    return await connection.scalar(select(func.count()).select_from(laptops)) or 0
