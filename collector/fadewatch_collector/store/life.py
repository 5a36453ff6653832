"""What pages tell of the life of a laptop or pack beside its readings and alerts."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.audit import AuditLine
from fadewatch_collector.store.removed import RemovedPack, removed_by_id
from fadewatch_collector.store.tables import (
    audit,
    inspection_links,
    laptops,
    place_changes,
    place_imports,
    removed_packs,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceMove:
    """What an import changed of a laptop's asset tag, holder or site."""

    at: datetime
    who: str
    undone_at: datetime | None
    undone_by: str | None
    before: Mapping[str, str | None]
    after: Mapping[str, str | None]


@dataclass(frozen=True, slots=True)
class LinkStanding:
    """How a link to a laptop's holder stands."""

    expires_at: datetime
    answered_at: datetime | None


async def place_moves(
    connection: AsyncConnection, laptop_id: int, limit: int
) -> list[PlaceMove]:
    """Return what imports changed of a laptop, newest first."""
    made, change = place_imports.c, place_changes.c
    query = (
        select(
            made.at,
            made.who,
            made.undone_at,
            made.undone_by,
            change.before,
            change.after,
        )
        .join(place_imports, made.id == change.import_id)
        .where(change.laptop_id == laptop_id)
        .order_by(made.id.desc())
        .limit(limit)
    )
    return [PlaceMove(**row._asdict()) for row in await connection.execute(query)]


async def removal_of(connection: AsyncConnection, pack_id: int) -> RemovedPack | None:
    """Return a pack's record in the register of removed packs."""
    query = select(removed_packs.c.id).where(removed_packs.c.pack_id == pack_id)
    number = await connection.scalar(query)
    return None if number is None else await removed_by_id(connection, number)


async def link_standing(
    connection: AsyncConnection, digest: bytes
) -> LinkStanding | None:
    """Return how a link stands; None when there is no such link."""
    link = inspection_links.c
    query = select(link.expires_at, link.answered_at).where(link.digest == digest)
    row = (await connection.execute(query)).one_or_none()
    return None if row is None else LinkStanding(*row)


async def laptop_models(
    connection: AsyncConnection,
) -> list[tuple[str | None, str | None]]:
    """Return the makers and models of all laptops, in order."""
    column = laptops.c
    query = (
        select(column.maker, column.model)
        .where(column.model.is_not(None))
        .distinct()
        .order_by(column.maker, column.model)
    )
    return [(maker, model) for maker, model in await connection.execute(query)]


async def trail_about(
    connection: AsyncConnection, kinds: tuple[str, ...], limit: int
) -> list[AuditLine]:
    """Return the newest lines about subjects of some kinds, such as ``policy``."""
    column = audit.c
    is_sqlite = connection.dialect.name == "sqlite"
    query = (
        select(*(column[name] for name in AuditLine.__slots__))
        .where(or_(*(_is_about(kind, is_sqlite=is_sqlite) for kind in kinds)))
        .order_by(column.id.desc())
        .limit(limit)
    )
    return [AuditLine(*row) for row in await connection.execute(query)]


def _is_about(kind: str, *, is_sqlite: bool) -> ColumnElement[bool]:
    if is_sqlite:
        # SQLite sorts by bytes, so this is a range of an index; LIKE reads all lines.
        # The semicolon is the character after the colon.
        return audit.c.subject.between(f"{kind}:", f"{kind};")
    return audit.c.subject.startswith(f"{kind}:", autoescape=True)
