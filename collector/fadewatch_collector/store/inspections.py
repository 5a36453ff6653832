"""Rows of inspections and of the links that ask for one."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row, insert, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.tables import (
    inspection_links,
    inspections,
    laptops,
    slot_stays,
)


@dataclass(frozen=True, slots=True)
class Inspection:
    """A person's answer about physical signs."""

    id: int
    laptop_id: int | None
    pack_id: int | None
    at: datetime
    who: str
    signs: tuple[str, ...]
    note: str | None


@dataclass(frozen=True, slots=True)
class Asked:
    """The laptop that a link asks about."""

    laptop_id: int
    hostname: str | None
    asset_tag: str | None


async def add_inspection(
    connection: AsyncConnection,
    *,
    laptop_id: int,
    pack_id: int | None,
    at: datetime,
    who: str,
    signs: Sequence[str],
    note: str | None,
) -> None:
    """Keep an answer."""
    await connection.execute(
        insert(inspections).values(
            laptop_id=laptop_id,
            pack_id=pack_id,
            at=at,
            who=who,
            signs=list(signs),
            note=note,
        )
    )


async def inspections_before(
    connection: AsyncConnection,
    *,
    laptop_id: int | None,
    pack_id: int | None,
    before: int | None,
    limit: int,
) -> list[Inspection]:
    """Return inspections, newest first, from an inspection's number on."""
    column = inspections.c
    query = (
        select(*(column[name] for name in Inspection.__slots__))
        .order_by(column.id.desc())
        .limit(limit)
    )
    if laptop_id is not None:
        query = query.where(column.laptop_id == laptop_id)
    if pack_id is not None:
        query = query.where(column.pack_id == pack_id)
    if before is not None:
        query = query.where(column.id < before)
    return [_inspection(row) for row in await connection.execute(query)]


def _inspection(row: Row[Any]) -> Inspection:
    known = row._asdict()
    return Inspection(**known | {"signs": tuple(known["signs"])})


async def last_clean_inspections(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> dict[int, date]:
    """Return the day of each pack's last inspection without a sign."""
    column = inspections.c
    query = (
        select(column.pack_id, column.at, column.signs)
        .where(column.pack_id.in_(pack_ids))
        .order_by(column.id)
    )
    return {
        pack_id: at.date()
        for pack_id, at, signs in await connection.execute(query)
        if not signs
    }


async def packs_in(connection: AsyncConnection, laptop_id: int) -> list[Subject]:
    """Return the packs that are in a laptop now, as alerts name them."""
    stay = slot_stays.c
    query = (
        select(stay.pack_id, laptops.c.site)
        .join(laptops, laptops.c.id == stay.laptop_id)
        .where(stay.laptop_id == laptop_id, stay.until_at.is_(None))
        .order_by(stay.slot)
    )
    return [
        Subject(laptop_id, pack_id, site)
        for pack_id, site in await connection.execute(query)
    ]


async def laptop_site(
    connection: AsyncConnection, laptop_id: int
) -> tuple[str | None] | None:
    """Return a laptop's site in a tuple; None when there is no such laptop."""
    query = select(laptops.c.site).where(laptops.c.id == laptop_id)
    row = (await connection.execute(query)).first()
    return (row[0],) if row else None


async def add_link(
    connection: AsyncConnection,
    *,
    digest: bytes,
    laptop_id: int,
    who: str,
    now: datetime,
    expires_at: datetime,
) -> None:
    """Keep a link that asks about a laptop."""
    await connection.execute(
        insert(inspection_links).values(
            digest=digest,
            laptop_id=laptop_id,
            created_at=now,
            created_by=who,
            expires_at=expires_at,
        )
    )


async def asked_by(
    connection: AsyncConnection, digest: bytes, now: datetime
) -> Asked | None:
    """Return what a link asks about; None when it is unknown, answered or expired."""
    link = inspection_links.c
    query = (
        select(link.laptop_id, laptops.c.hostname, laptops.c.asset_tag)
        .join(laptops, laptops.c.id == link.laptop_id)
        .where(link.digest == digest, link.expires_at > now, link.answered_at.is_(None))
    )
    row = (await connection.execute(query)).first()
    return Asked(*row) if row else None


async def spend_link(connection: AsyncConnection, digest: bytes, now: datetime) -> bool:
    """Mark a link answered; False when it was already."""
    link = inspection_links.c
    result = await connection.execute(
        update(inspection_links)
        .where(link.digest == digest, link.answered_at.is_(None), link.expires_at > now)
        .values(answered_at=now)
    )
    return result.rowcount == 1
