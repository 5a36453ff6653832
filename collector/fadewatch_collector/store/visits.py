"""Rows of visits: planned, done, called off."""

from collections.abc import AsyncGenerator, Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row, Select, func, insert, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.visit_terms import VisitState
from fadewatch_collector.store.tables import alerts, laptops, operators, visits


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A visit with the laptop it goes to.

    Attributes
    ----------
    planned_on
        None when it was marked done without having been planned.
    matters
        What it was for, in words.
    work
        Words of the work that was done; None while it is not done.
    found
        What the person wrote when it was done or called off.
    """

    id: int
    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    holder: str | None
    laptop_maker: str | None
    laptop_model: str | None
    laptop_serial: str | None
    site: str | None
    state: VisitState
    planned_on: date | None
    assigned_name: str | None
    note: str | None
    matters: list[str]
    work: list[str] | None
    found: str | None
    done_at: datetime | None
    created_at: datetime
    created_by: str
    changed_at: datetime
    changed_by: str
    version: int


def _select() -> Select[Any]:
    sources = {
        **{name: laptops.c[name] for name in ("hostname", "asset_tag", "holder")},
        "site": laptops.c.site,
        "laptop_maker": laptops.c.maker,
        "laptop_model": laptops.c.model,
        "laptop_serial": laptops.c.serial,
        "assigned_name": operators.c.name,
        **{c.name: c for c in visits.c if c.name in Visit.__slots__},
    }
    return (
        select(*(sources[name].label(name) for name in Visit.__slots__))
        .select_from(visits)
        .join(laptops, laptops.c.id == visits.c.laptop_id)
        .outerjoin(operators, operators.c.id == visits.c.assigned_to)
    )


def _visit(row: Row[Any]) -> Visit:
    return Visit(**row._asdict())


async def visits_before(
    connection: AsyncConnection,
    *,
    states: Collection[VisitState],
    site: str | None = None,
    laptop_id: int | None = None,
    before: int | None,
    limit: int,
) -> list[Visit]:
    """Return visits, the newest row first, from a number on."""
    query = _select().where(visits.c.state.in_(states))
    if site is not None:
        query = query.where(laptops.c.site == site)
    if laptop_id is not None:
        query = query.where(visits.c.laptop_id == laptop_id)
    if before is not None:
        query = query.where(visits.c.id < before)
    query = query.order_by(visits.c.id.desc()).limit(limit)
    return [_visit(row) for row in await connection.execute(query)]


async def stream_visits(
    connection: AsyncConnection, states: Collection[VisitState], chunk: int
) -> AsyncGenerator[Sequence[Visit]]:
    """Yield visits, the newest row first, up to ``chunk`` at a time."""
    query = _select().where(visits.c.state.in_(states)).order_by(visits.c.id.desc())
    async with connection.stream(query.execution_options(yield_per=chunk)) as result:
        async for rows in result.partitions():
            yield [_visit(row) for row in rows]


async def visit_by_id(connection: AsyncConnection, visit_id: int) -> Visit | None:
    """Return one visit."""
    query = _select().where(visits.c.id == visit_id)
    row = (await connection.execute(query)).first()
    return _visit(row) if row else None


async def planned_visits(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> dict[int, Visit]:
    """Return the planned visit of each laptop that has one."""
    query = _select().where(
        visits.c.laptop_id.in_(laptop_ids), visits.c.state == "planned"
    )
    found = [_visit(row) for row in await connection.execute(query)]
    return {visit.laptop_id: visit for visit in found}


async def last_done_visits(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> dict[int, Visit]:
    """Return the newest visit that was done at each laptop that had one."""
    newest = (
        select(func.max(visits.c.id))
        .where(visits.c.laptop_id.in_(laptop_ids), visits.c.state == "done")
        .group_by(visits.c.laptop_id)
    )
    query = _select().where(visits.c.id.in_(newest))
    found = [_visit(row) for row in await connection.execute(query)]
    return {visit.laptop_id: visit for visit in found}


async def hold_laptops(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> None:
    """Let nobody else plan a visit at these laptops until the transaction ends."""
    query = select(laptops.c.id).where(laptops.c.id.in_(laptop_ids))
    await connection.execute(query.order_by(laptops.c.id).with_for_update())


async def add_visits(
    connection: AsyncConnection, values: Sequence[dict[str, Any]]
) -> list[int]:
    """Add visits and return their numbers."""
    added = await connection.execute(
        insert(visits).returning(visits.c.id, sort_by_parameter_order=True),
        values,
    )
    return list(added.scalars())


async def change_visit(
    connection: AsyncConnection,
    visit_id: int,
    version: int,
    values: dict[str, Any],
) -> bool:
    """Change a visit if it is still at this version; False when it is not."""
    result = await connection.execute(
        update(visits)
        .where(visits.c.id == visit_id, visits.c.version == version)
        .values(version=version + 1, **values)
    )
    return result.rowcount == 1


async def plan_alerts_of(
    connection: AsyncConnection,
    laptop_ids: Collection[int],
    on: date,
    now: datetime,
) -> list[int]:
    """Set the day of the laptops' open alerts; what says stop use stays as it is."""
    planned = await connection.execute(
        update(alerts)
        .where(
            alerts.c.laptop_id.in_(laptop_ids),
            alerts.c.state != "ended",
            alerts.c.urgency_rank > 0,
        )
        .values(
            state="planned",
            planned_on=on,
            changed_at=now,
            version=alerts.c.version + 1,
        )
        .returning(alerts.c.id)
    )
    return sorted(planned.scalars())


async def able_names(connection: AsyncConnection) -> list[str]:
    """Return the names of operators that a visit can be given to."""
    query = select(operators.c.name).where(operators.c.disabled_at.is_(None))
    return sorted(await connection.scalars(query))
