"""Where laptops are: imports and what they changed."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import insert, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.places import (
    FIELDS,
    KnownPlace,
    PlaceChange,
    match_key,
)
from fadewatch_collector.store.tables import (
    alerts,
    laptops,
    place_changes,
    place_imports,
)


@dataclass(frozen=True, slots=True)
class PlaceImport:
    """One import of places."""

    id: int
    at: datetime
    who: str
    changed: int
    undone_at: datetime | None
    undone_by: str | None


async def known_places(connection: AsyncConnection) -> dict[str, list[KnownPlace]]:
    """Return every laptop with a serial, by its serial as it is compared."""
    column = laptops.c
    query = select(column.id, column.serial, *(column[name] for name in FIELDS)).where(
        column.serial.is_not(None)
    )
    found: dict[str, list[KnownPlace]] = defaultdict(list)
    for number, serial, *values in await connection.execute(query):
        place = KnownPlace(number, serial, dict(zip(FIELDS, values, strict=True)))
        found[match_key(serial)].append(place)
    return dict(found)


async def set_place(
    connection: AsyncConnection, laptop_id: int, values: Mapping[str, str | None]
) -> None:
    """Set where a laptop is; its open alerts go with it to another site."""
    await connection.execute(
        update(laptops).where(laptops.c.id == laptop_id).values(**values)
    )
    if "site" in values:
        await connection.execute(
            update(alerts)
            .where(alerts.c.laptop_id == laptop_id, alerts.c.state != "ended")
            .values(site=values["site"])
        )


async def keep_import(
    connection: AsyncConnection,
    changes: Sequence[PlaceChange],
    who: str,
    now: datetime,
) -> int:
    """Keep an import with what it changed; returns its number."""
    result = await connection.execute(
        insert(place_imports)
        .values(at=now, who=who, changed=len(changes))
        .returning(place_imports.c.id)
    )
    number = int(result.scalar_one())
    if changes:
        await connection.execute(
            insert(place_changes),
            [
                {
                    "import_id": number,
                    "laptop_id": change.laptop_id,
                    "before": dict(change.before),
                    "after": dict(change.after),
                }
                for change in changes
            ],
        )
    return number


async def last_imports(connection: AsyncConnection, limit: int) -> list[PlaceImport]:
    """Return the newest imports, newest first."""
    column = place_imports.c
    query = (
        select(*(column[name] for name in PlaceImport.__slots__))
        .order_by(column.id.desc())
        .limit(limit)
    )
    return [PlaceImport(*row) for row in await connection.execute(query)]


async def changes_of(connection: AsyncConnection, import_id: int) -> list[PlaceChange]:
    """Return what an import changed."""
    column = place_changes.c
    query = (
        select(column.laptop_id, laptops.c.serial, column.before, column.after)
        .join(laptops, laptops.c.id == column.laptop_id)
        .where(column.import_id == import_id)
    )
    return [PlaceChange(*row) for row in await connection.execute(query)]


async def mark_undone(
    connection: AsyncConnection, import_id: int, who: str, now: datetime
) -> bool:
    """Mark an import undone; False when it was already."""
    result = await connection.execute(
        update(place_imports)
        .where(place_imports.c.id == import_id, place_imports.c.undone_at.is_(None))
        .values(undone_at=now, undone_by=who)
    )
    return result.rowcount == 1
