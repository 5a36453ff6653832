"""Load what filing a batch of reports touches."""

from collections import defaultdict
from collections.abc import Set
from dataclasses import dataclass, fields
from typing import Any

from sqlalchemy import ColumnElement, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.desk import LAPTOP_FACTS, Desk
from fadewatch_collector.rules.records import LaptopRecord, PackRecord, Place
from fadewatch_collector.rules.slots import Stay
from fadewatch_collector.store.bulk import among
from fadewatch_collector.store.levels import load_levels
from fadewatch_collector.store.tables import laptops, packs, slot_stays

PACK_COLUMNS = tuple(field.name for field in fields(PackRecord))
_LAPTOP_KNOWN = (
    *LAPTOP_FACTS,
    "agent_version",
    "platform",
    "remarks",
    "last_report_at",
)


async def load_desk(
    connection: AsyncConnection,
    laptop_ids: set[int],
    identities: set[str],
    weak_laptops: Set[int] = frozenset(),
) -> Desk:
    """Load the laptops, their packs, and every pack with one of the identities.

    Parameters
    ----------
    weak_laptops
        Laptops of which a pack tells no identity now: its newest readings decide.
    """
    known = await _laptops(connection, laptop_ids)
    here = among(connection, slot_stays.c.laptop_id, laptop_ids)
    stays = await _stays(connection, here)
    in_laptops = {stay.pack_id for stay in stays.values()}
    found = await _packs(connection, among(connection, packs.c.id, in_laptops))
    found |= await _packs(connection, among(connection, packs.c.identity, identities))
    # A stay in another laptop may name packs that are not loaded: they decide
    # nothing here, so only stays of loaded packs and laptops are kept whole.
    theirs = among(connection, slot_stays.c.pack_id, found)
    stays |= await _stays(connection, theirs & ~here)
    weak = {stay.pack_id for stay in stays.values() if stay.laptop_id in weak_laptops}
    levels = await load_levels(connection, weak)
    return Desk(known, found, _by_place(stays), levels)


async def _laptops(
    connection: AsyncConnection, laptop_ids: set[int]
) -> dict[int, LaptopRecord]:
    column = laptops.c
    query = select(
        column.id,
        column.inventory_measured_at,
        column.memory,
        column.drives,
        *(column[name] for name in _LAPTOP_KNOWN),
    ).where(among(connection, column.id, laptop_ids))
    return {
        row[0]: LaptopRecord(
            id=row[0],
            inventory_measured_at=row[1],
            memory=row[2],
            drives=row[3],
            known={"memory": row[2], "drives": row[3]}
            | dict(zip(_LAPTOP_KNOWN, row[4:], strict=True)),
        )
        for row in await connection.execute(query)
    }


@dataclass(frozen=True, slots=True)
class LaptopName:
    """What to call a laptop in a sentence, and where it is."""

    name: str
    site: str | None


async def laptop_names(
    connection: AsyncConnection, laptop_ids: set[int]
) -> dict[int, LaptopName]:
    """Return what to call laptops."""
    column = laptops.c
    query = select(column.id, column.hostname, column.asset_tag, column.site).where(
        among(connection, column.id, laptop_ids)
    )
    return {
        row.id: LaptopName(
            row.hostname or row.asset_tag or f"laptop {row.id}", row.site
        )
        for row in await connection.execute(query)
    }


async def _packs(
    connection: AsyncConnection, which: ColumnElement[bool]
) -> dict[int, PackRecord]:
    query = select(*(packs.c[name] for name in PACK_COLUMNS)).where(which)
    return {
        row.id: PackRecord(**dict(zip(PACK_COLUMNS, row, strict=True)))
        for row in await connection.execute(query)
    }


async def _stays(
    connection: AsyncConnection, which: ColumnElement[bool]
) -> dict[int, Any]:
    query = select(slot_stays).where(which)
    return {row.id: row for row in await connection.execute(query)}


def _by_place(stays: dict[int, Any]) -> dict[Place, list[Stay]]:
    placed: dict[Place, list[Stay]] = defaultdict(list)
    for row in sorted(stays.values(), key=lambda row: (row.from_at, row.id)):
        placed[row.laptop_id, row.slot].append(
            Stay(row.pack_id, row.from_at, row.last_seen_at, row.until_at, row.id)
        )
    return dict(placed)
