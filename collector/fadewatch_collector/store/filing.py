"""Load and save what filing a batch of reports touches."""

from collections import defaultdict
from collections.abc import Sequence, Set
from dataclasses import dataclass, fields, replace
from typing import Any

from sqlalchemy import bindparam, insert, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.desk import Desk
from fadewatch_collector.rules.inventory import memory_totals, storage_total
from fadewatch_collector.rules.records import (
    FiledReading,
    LaptopRecord,
    PackRecord,
    Place,
    Swap,
)
from fadewatch_collector.rules.slots import Stay
from fadewatch_collector.store.daily import save_days
from fadewatch_collector.store.levels import load_levels, move_readings
from fadewatch_collector.store.tables import (
    inventory_changes,
    laptops,
    packs,
    readings,
    slot_stays,
    swaps,
)

_PACK_COLUMNS = tuple(packs.c[field.name] for field in fields(PackRecord))


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
    in_laptops = select(slot_stays.c.pack_id).where(
        slot_stays.c.laptop_id.in_(laptop_ids)
    )
    query = select(*_PACK_COLUMNS).where(
        or_(packs.c.identity.in_(identities), packs.c.id.in_(in_laptops))
    )
    found = [_pack(row) for row in await connection.execute(query)]
    stays = await _stays(connection, laptop_ids, {pack.id for pack in found})
    # A stay in another laptop may name packs that are not loaded: they decide
    # nothing here, so only stays of loaded packs and laptops are kept whole.
    weak = {
        stay.pack_id
        for (laptop_id, _), there in stays.items()
        for stay in there
        if laptop_id in weak_laptops
    }
    levels = await load_levels(connection, weak)
    return Desk(known, {pack.id: pack for pack in found}, stays, levels)


async def _laptops(
    connection: AsyncConnection, laptop_ids: set[int]
) -> dict[int, LaptopRecord]:
    column = laptops.c
    query = select(
        column.id, column.inventory_measured_at, column.memory, column.drives
    ).where(column.id.in_(laptop_ids))
    return {
        row.id: LaptopRecord(
            id=row.id,
            inventory_measured_at=row.inventory_measured_at,
            memory=row.memory,
            drives=row.drives,
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
        column.id.in_(laptop_ids)
    )
    return {
        row.id: LaptopName(
            row.hostname or row.asset_tag or f"laptop {row.id}", row.site
        )
        for row in await connection.execute(query)
    }


def _pack(row: Any) -> PackRecord:
    return PackRecord(**row._mapping)  # noqa: SLF001  documented name of a Row's dict


async def _stays(
    connection: AsyncConnection, laptop_ids: set[int], pack_ids: set[int]
) -> dict[Place, list[Stay]]:
    column = slot_stays.c
    query = (
        select(slot_stays)
        .where(or_(column.laptop_id.in_(laptop_ids), column.pack_id.in_(pack_ids)))
        .order_by(column.from_at, column.id)
    )
    stays: dict[Place, list[Stay]] = defaultdict(list)
    for row in await connection.execute(query):
        stays[row.laptop_id, row.slot].append(
            Stay(row.pack_id, row.from_at, row.last_seen_at, row.until_at, row.id)
        )
    return dict(stays)


async def save_desk(connection: AsyncConnection, desk: Desk) -> set[int]:
    """Write the desk back; returns the ids of the packs with new readings."""
    numbers = await _save_packs(connection, desk)
    await _save_stays(connection, desk, numbers)
    await _save_laptops(connection, desk)
    if desk.changes:
        await connection.execute(
            insert(inventory_changes),
            [
                {
                    "laptop_id": laptop_id,
                    "measured_at": at,
                    "item": change.item,
                    "before": change.before,
                    "after": change.after,
                }
                for laptop_id, at, change in desk.changes
            ],
        )
    for move in desk.moves:
        await move_readings(connection, move, numbers)
    if desk.swaps:
        await _save_swaps(connection, desk.swaps, numbers)
    if desk.readings:
        await _save_readings(connection, desk.readings, numbers)
    return {numbers.get(pack_id, pack_id) for pack_id in desk.touched_packs}


async def _save_packs(connection: AsyncConnection, desk: Desk) -> dict[int, int]:
    new = [pack for pack in desk.packs.values() if pack.id < 0]
    numbers: dict[int, int] = {}
    if new:
        result = await connection.execute(
            insert(packs).returning(packs.c.id, sort_by_parameter_order=True),
            [_values(pack, without="id") for pack in new],
        )
        numbers = dict(zip((pack.id for pack in new), result.scalars(), strict=True))
    changed = [desk.packs[key] for key in desk.touched_packs if key > 0]
    if changed:
        await connection.execute(
            update(packs).where(packs.c.id == bindparam("key")),
            [_values(pack, without="id") | {"key": pack.id} for pack in changed],
        )
    return numbers


async def _save_swaps(
    connection: AsyncConnection, found: Sequence[Swap], numbers: dict[int, int]
) -> None:
    await connection.execute(
        insert(swaps),
        [
            {
                "laptop_id": swap.place[0],
                "slot": swap.place[1],
                "at": swap.at,
                "old_pack_id": numbers.get(swap.old_pack_id, swap.old_pack_id),
                "new_pack_id": numbers.get(swap.new_pack_id, swap.new_pack_id),
                "state": "to confirm",
                "wrong": [],
                "remarks": [],
            }
            for swap in found
        ],
    )


def _values(record: PackRecord, *, without: str) -> dict[str, Any]:
    names = (field.name for field in fields(record))
    return {name: getattr(record, name) for name in names if name != without}


async def _save_stays(
    connection: AsyncConnection, desk: Desk, numbers: dict[int, int]
) -> None:
    old: list[dict[str, Any]] = []
    new: list[dict[str, Any]] = []
    for laptop_id, slot in desk.touched_places:
        for stay in desk.stays[laptop_id, slot]:
            times = {
                "from_at": stay.from_at,
                "last_seen_at": stay.last_seen_at,
                "until_at": stay.until_at,
            }
            values = times | {"pack_id": numbers.get(stay.pack_id, stay.pack_id)}
            if stay.key is None:
                new.append(values | {"laptop_id": laptop_id, "slot": slot})
            else:
                old.append(values | {"key": stay.key})
    # Ends are written before beginnings: a slot has one open stay at a time.
    if old:
        await connection.execute(
            update(slot_stays).where(slot_stays.c.id == bindparam("key")), old
        )
    if new:
        await connection.execute(insert(slot_stays), new)


async def _save_laptops(connection: AsyncConnection, desk: Desk) -> None:
    # One statement for each set of columns: what is unknown is not overwritten.
    groups: dict[frozenset[str], list[dict[str, Any]]] = defaultdict(list)
    for _, laptop in sorted(desk.laptops.items()):
        if laptop.facts:
            values = _laptop_values(laptop)
            groups[frozenset(values)].append(values | {"key": laptop.id})
    statement = update(laptops).where(laptops.c.id == bindparam("key"))
    for group in groups.values():
        await connection.execute(statement, group)


def _laptop_values(laptop: LaptopRecord) -> dict[str, Any]:
    total, used, free = memory_totals(laptop.memory)
    return laptop.facts | {
        "inventory_measured_at": laptop.inventory_measured_at,
        "memory": laptop.memory,
        "drives": laptop.drives,
        "memory_total_mib": total,
        "memory_slots_used": used,
        "memory_slots_free": free,
        "storage_total_bytes": storage_total(laptop.drives or ()),
    }


async def _save_readings(
    connection: AsyncConnection,
    filed: Sequence[FiledReading],
    numbers: dict[int, int],
) -> None:
    stored = [
        replace(reading, pack_id=numbers.get(reading.pack_id, reading.pack_id))
        for reading in filed
    ]
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    statement = make_insert(readings).on_conflict_do_nothing(
        index_elements=list(readings.primary_key)
    )
    await connection.execute(statement, [_reading_values(r) for r in stored])
    days = {(reading.pack_id, reading.measured_at.date()) for reading in stored}
    await save_days(connection, days)


def _reading_values(reading: FiledReading) -> dict[str, Any]:
    pack = reading.pack
    return {
        "pack_id": reading.pack_id,
        "laptop_id": reading.laptop_id,
        "slot": pack.slot,
        "report_id": reading.report_id,
        "measured_at": reading.measured_at,
        "unit": pack.unit,
        "design_capacity": pack.design_capacity,
        "full_charge_capacity": pack.full_charge_capacity,
        "remaining_capacity": pack.remaining_capacity,
        "cycle_count": pack.cycle_count,
        "voltage_mv": pack.voltage_mv,
        "temperature_c": pack.temperature_c,
        "state": pack.state,
        "charge_limit_percent": pack.charge_limit_percent,
        "error_margin_percent": pack.error_margin_percent,
        "mains_online": reading.mains_online,
    }
