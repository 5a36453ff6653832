"""The fleet as a whole: how many packs of which sort, and what is known of each."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from typing import Any

from sqlalchemy import ColumnElement, and_, case, func, or_, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.fleet_shares import ShareRow
from fadewatch_collector.rules.pack_types import Described
from fadewatch_collector.store.tables import (
    assessments,
    fleet_figures,
    laptops,
    packs,
    slot_stays,
)

TYPE_FIELDS = (
    "maker",
    "model",
    "unit",
    "design_capacity",
    "design_voltage_mv",
    "chemistry",
)

OWN_HISTORY = "own history"


async def share_rows(
    connection: AsyncConnection, born_before: Sequence[date]
) -> list[ShareRow]:
    """Count the packs that sit in slots, by site, band, age class and type.

    Parameters
    ----------
    born_before
        Days that part the age classes, falling: class 0 is of packs made, or first seen
        where that is not known, after the first of them.
    """
    band = func.coalesce(assessments.c.band, "unknown")
    basis = case((packs.c.made_on.is_not(None), "made"), else_="first seen")
    age_class = case(
        *((_born_after(day), number) for number, day in enumerate(born_before)),
        else_=len(born_before),
    )
    keys = (
        laptops.c.site,
        band,
        age_class,
        basis,
        *(packs.c[name] for name in TYPE_FIELDS),
    )
    # Grouped by what an inner query names: PostgreSQL takes an expression with
    # parameters for another one each time it is written.
    each = (
        select(*(key.label(f"k{number}") for number, key in enumerate(keys)))
        .select_from(slot_stays)
        .join(packs, packs.c.id == slot_stays.c.pack_id)
        .join(laptops, laptops.c.id == slot_stays.c.laptop_id)
        .outerjoin(assessments, assessments.c.pack_id == packs.c.id)
        .where(slot_stays.c.until_at.is_(None))
        .subquery()
    )
    query = select(*each.c, func.count()).group_by(*each.c)
    return [
        ShareRow(site, found, number, since, Described(*said), count)
        for site, found, number, since, *said, count in await connection.execute(query)
    ]


def _born_after(day: date) -> ColumnElement[bool]:
    moment = datetime.combine(day, time(), UTC)
    return or_(
        packs.c.made_on > day,
        and_(packs.c.made_on.is_(None), packs.c.first_seen_at > moment),
    )


async def keep_figures(
    connection: AsyncConnection, name: str, made_at: datetime, body: Any
) -> None:
    """Keep what was worked out over the whole fleet, over what was there."""
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    values = {"made_at": made_at, "body": body}
    await connection.execute(
        make_insert(fleet_figures)
        .values(name=name, **values)
        .on_conflict_do_update(index_elements=[fleet_figures.c.name], set_=values)
    )


async def kept_figures(
    connection: AsyncConnection, names: Sequence[str]
) -> dict[str, tuple[datetime, Any]]:
    """Return what was worked out over the whole fleet, and when, by name."""
    column = fleet_figures.c
    query = select(column.name, column.made_at, column.body).where(
        column.name.in_(names)
    )
    return {
        name: (made_at, body) for name, made_at, body in await connection.execute(query)
    }
