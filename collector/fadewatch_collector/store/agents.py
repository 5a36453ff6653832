"""The agents of the fleet: their versions, and laptops that never reported.

Every function runs one query, however many laptops there are.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import agent_keys, enrolment_tokens, laptops


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionCount:
    """How many laptops last reported with one version of the agent.

    Attributes
    ----------
    version
        None when the laptops never told one.
    laptops
        Laptops that have reported.
    lately
        Those of them that reported since a moment.
    """

    version: str | None
    laptops: int
    lately: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NeverReported:
    """A laptop that has enrolled and never sent a report.

    Attributes
    ----------
    token
        Label of the token that its newest key came from.
    has_key
        Whether it holds a valid key.
    """

    id: int
    hostname: str | None
    asset_tag: str | None
    maker: str | None
    model: str | None
    serial: str | None
    site: str | None
    enrolled_at: datetime
    token: str | None
    has_key: bool


async def version_counts(
    connection: AsyncConnection, since: datetime
) -> list[VersionCount]:
    """Count the laptops that have reported, by the version of their agent."""
    column = laptops.c
    lately = func.count().filter(column.last_report_at >= since)
    query = (
        select(column.agent_version, func.count(), lately)
        .where(column.last_report_at.is_not(None))
        .group_by(column.agent_version)
    )
    return [
        VersionCount(version=version, laptops=count, lately=lately_count)
        for version, count, lately_count in await connection.execute(query)
    ]


async def never_reported_count(connection: AsyncConnection) -> int:
    """Count the laptops that have enrolled and never reported."""
    query = select(func.count()).where(laptops.c.last_report_at.is_(None))
    return int((await connection.execute(query)).scalar_one())


async def never_reported(
    connection: AsyncConnection, before: int | None, limit: int
) -> Sequence[NeverReported]:
    """Return laptops that have enrolled and never reported, newest first."""
    column, key = laptops.c, agent_keys.c
    newest = (
        select(key.laptop_id, func.max(key.id).label("id"))
        .group_by(key.laptop_id)
        .subquery()
    )
    names = ("id", "hostname", "asset_tag", "maker", "model", "serial", "site")
    query = (
        select(
            *(column[name] for name in names),
            column.enrolled_at,
            enrolment_tokens.c.label.label("token"),
            (key.id.is_not(None) & key.revoked_at.is_(None)).label("has_key"),
        )
        .select_from(laptops)
        .outerjoin(newest, newest.c.laptop_id == column.id)
        .outerjoin(agent_keys, key.id == newest.c.id)
        .outerjoin(enrolment_tokens, enrolment_tokens.c.id == key.token_id)
        .where(column.last_report_at.is_(None))
        .order_by(column.id.desc())
        .limit(limit)
    )
    if before is not None:
        query = query.where(column.id < before)
    rows = (await connection.execute(query)).mappings()
    return [NeverReported(**{**row, "has_key": bool(row["has_key"])}) for row in rows]
