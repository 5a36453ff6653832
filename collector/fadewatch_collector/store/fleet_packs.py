"""The packs of one type, or of one batch of it, with where they are."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.errors import NotFound
from fadewatch_collector.rules.compared_types import quarter_days
from fadewatch_collector.rules.pack_types import Described, same_type
from fadewatch_collector.rules.type_groups import group_types
from fadewatch_collector.store.fleet_view import TYPE_FIELDS
from fadewatch_collector.store.tables import assessments, laptops, packs, slot_stays


@dataclass(frozen=True, slots=True)
class PackOfType:
    """One pack in a slot, with the laptop it is in."""

    pack_id: int
    serial: str | None
    made_on: date | None
    first_seen_on: date
    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    site: str | None
    band: Band
    wear: float | None
    fade_per_month: float | None
    plan_on: date | None


async def packs_of_type(
    connection: AsyncConnection, key: str, made: str | None, limit: int
) -> Sequence[PackOfType]:
    """Return the packs in slots of a type, most worn first.

    Parameters
    ----------
    made
        Quarter of making, such as ``2024-Q3``; None: all.

    Raises
    ------
    InvalidRequest
        The key or the quarter is none.
    NotFound
        No pack is of that type.
    """
    described = select(*(packs.c[name] for name in TYPE_FIELDS), func.count()).group_by(
        *(packs.c[name] for name in TYPE_FIELDS)
    )
    counted = [
        (Described(*said), count)
        for *said, count in await connection.execute(described)
    ]
    grouping = group_types(counted)
    place = same_type(key, [one.type for one in grouping.types])
    if place is None:
        raise NotFound("pack type", key[:80])
    same = [said for said, at in grouping.place.items() if at == place]
    conditions = [slot_stays.c.until_at.is_(None), or_(*map(_is, same))]
    if made is not None:
        first, last = quarter_days(made)
        conditions.append(packs.c.made_on.between(first, last))
    column, said = packs.c, assessments.c
    query = (
        select(
            column.id,
            column.serial,
            column.made_on,
            column.first_seen_at,
            laptops.c.id.label("laptop_id"),
            laptops.c.hostname,
            laptops.c.asset_tag,
            laptops.c.site,
            func.coalesce(said.band, "unknown").label("band"),
            said.wear,
            said.fade_per_month,
            said.plan_on,
        )
        .join(slot_stays, slot_stays.c.pack_id == column.id)
        .join(laptops, laptops.c.id == slot_stays.c.laptop_id)
        .outerjoin(assessments, said.pack_id == column.id)
        .where(*conditions)
        .order_by(said.wear.desc().nulls_last(), column.id)
        .limit(limit)
    )
    return [
        PackOfType(
            pack_id=row.id,
            serial=row.serial,
            made_on=row.made_on,
            first_seen_on=row.first_seen_at.date(),
            laptop_id=row.laptop_id,
            hostname=row.hostname,
            asset_tag=row.asset_tag,
            site=row.site,
            band=row.band,
            wear=row.wear,
            fade_per_month=row.fade_per_month,
            plan_on=row.plan_on,
        )
        for row in await connection.execute(query)
    ]


def _is(said: Described) -> ColumnElement[bool]:
    parts: list[Any] = [
        packs.c[name].is_(None) if value is None else packs.c[name] == value
        for name, value in ((name, getattr(said, name)) for name in TYPE_FIELDS)
    ]
    whole: ColumnElement[bool] = parts[0]
    for part in parts[1:]:
        whole &= part
    return whole
