"""Write what filing a batch of reports gave, one statement a table.

Or two: what most reports change has a statement of its own. SQLite writes an index
again for every column that a statement sets, also to the value that it has.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from operator import attrgetter
from typing import Any

from sqlalchemy import insert
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.desk import LAPTOP_FACTS, Desk
from fadewatch_collector.rules.desk_changes import (
    PACK_NAMES,
    DeskBefore,
    changed_stays,
    is_changed,
    is_only_seen,
    is_renamed,
)
from fadewatch_collector.rules.inventory import memory_totals, storage_total
from fadewatch_collector.rules.records import (
    FiledReading,
    LaptopRecord,
    PackRecord,
    Swap,
)
from fadewatch_collector.store.bulk import insert_rows, line_up, update_rows
from fadewatch_collector.store.daily import save_days
from fadewatch_collector.store.filing import PACK_COLUMNS
from fadewatch_collector.store.intake import note_contact
from fadewatch_collector.store.levels import move_readings
from fadewatch_collector.store.tables import (
    inventory_changes,
    laptops,
    packs,
    readings,
    slot_stays,
    swaps,
)

_STAY = ("from_at", "last_seen_at", "until_at")
_SEEN = (
    "last_report_at",
    "inventory_measured_at",
    "last_measured_at",
    "mains_online",
)
_SAID = (
    *LAPTOP_FACTS,
    "agent_version",
    "platform",
    "remarks",
    "memory",
    "drives",
    "memory_total_mib",
    "memory_slots_used",
    "memory_slots_free",
    "storage_total_bytes",
)
_READ = (
    "slot",
    "unit",
    "design_capacity",
    "full_charge_capacity",
    "remaining_capacity",
    "cycle_count",
    "voltage_mv",
    "temperature_c",
    "state",
    "charge_limit_percent",
    "error_margin_percent",
)
_READING = ("pack_id", "laptop_id", "report_id", "measured_at", "mains_online", *_READ)

_SEEN_PACK = ("id", *(name for name in PACK_COLUMNS[1:] if name not in PACK_NAMES))

_pack_values = attrgetter(*PACK_COLUMNS)
_seen_pack_values = attrgetter(*_SEEN_PACK)
_read_values = attrgetter(*_READ)


async def save_desk(
    connection: AsyncConnection, desk: Desk, before: DeskBefore
) -> set[int]:
    """Write the desk but for its laptops; return the packs with new readings."""
    numbers = await _save_packs(connection, desk, before)
    await _save_stays(connection, desk, before, numbers)
    await insert_rows(
        connection,
        inventory_changes,
        ("laptop_id", "measured_at", "item", "before", "after"),
        [
            (laptop_id, at, change.item, change.before, change.after)
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


async def _save_packs(
    connection: AsyncConnection, desk: Desk, before: DeskBefore
) -> dict[int, int]:
    new = [pack for pack in desk.packs.values() if pack.id < 0]
    numbers: dict[int, int] = {}
    if new:
        result = await connection.execute(
            insert(packs).returning(packs.c.id, sort_by_parameter_order=True),
            [_new_pack(pack) for pack in new],
        )
        numbers = dict(zip((pack.id for pack in new), result.scalars(), strict=True))
    changed = [desk.packs[key] for key in sorted(desk.touched_packs) if key > 0]
    renamed = [pack for pack in changed if is_renamed(pack, before)]
    seen = [pack for pack in changed if not is_renamed(pack, before)]
    await update_rows(
        connection, packs, PACK_COLUMNS, [_pack_values(pack) for pack in renamed]
    )
    await update_rows(
        connection, packs, _SEEN_PACK, [_seen_pack_values(pack) for pack in seen]
    )
    return numbers


def _new_pack(pack: PackRecord) -> dict[str, Any]:
    values = dict(zip(PACK_COLUMNS, _pack_values(pack), strict=True))
    del values["id"]
    return values


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


async def _save_stays(
    connection: AsyncConnection,
    desk: Desk,
    before: DeskBefore,
    numbers: dict[int, int],
) -> None:
    seen: list[tuple[Any, ...]] = []
    old: list[tuple[Any, ...]] = []
    new: list[tuple[Any, ...]] = []
    for (laptop_id, slot), stay in changed_stays(desk, before):
        pack_id = numbers.get(stay.pack_id, stay.pack_id)
        times = stay.from_at, stay.last_seen_at, stay.until_at
        if stay.key is None:
            new.append((laptop_id, slot, pack_id, *times))
        elif is_only_seen(stay, before):
            seen.append((stay.key, stay.last_seen_at))
        else:
            old.append((stay.key, pack_id, *times))
    await update_rows(connection, slot_stays, ("id", "last_seen_at"), seen)
    # Ends are written before beginnings: a slot has one open stay at a time.
    await update_rows(connection, slot_stays, ("id", "pack_id", *_STAY), old)
    await insert_rows(
        connection, slot_stays, ("laptop_id", "slot", "pack_id", *_STAY), new
    )


async def save_laptops(
    connection: AsyncConnection, desk: Desk, heard: Mapping[int, datetime]
) -> None:
    """Write when laptops were heard from, and what they say of themselves.

    Parameters
    ----------
    heard
        When the last report of each came in.
    """
    # All of them in one line: places are imported, and laptops enrolled, meanwhile.
    await line_up(connection, laptops, heard)
    seen: list[tuple[Any, ...]] = []
    said: list[tuple[Any, ...]] = []
    late = dict(heard)
    for _, laptop in sorted(desk.laptops.items()):
        if laptop.facts:
            values = _said(laptop)
            before, at = laptop.known.get("last_report_at"), late.pop(laptop.id)
            row = (
                laptop.id,
                at if before is None else max(before, at),
                laptop.inventory_measured_at,
                laptop.facts["last_measured_at"],
                laptop.facts["mains_online"],
            )
            if is_changed(laptop, values):
                said.append((*row, *_with_totals(values)))
            else:
                seen.append(row)
    names = ("id", *_SEEN)
    await update_rows(connection, laptops, names, seen)
    await update_rows(connection, laptops, (*names, *_SAID), said)
    # Whose reports are older than what is known of them, or could not be read.
    await note_contact(connection, late)


def _said(laptop: LaptopRecord) -> dict[str, Any]:
    """Return what the laptop says; what it does not tell now stays as it is known."""
    told = {
        name: laptop.facts.get(name, laptop.known.get(name))
        for name in (*LAPTOP_FACTS, "agent_version", "platform", "remarks")
    }
    return told | {"memory": laptop.memory, "drives": laptop.drives}


def _with_totals(values: dict[str, Any]) -> tuple[Any, ...]:
    totals = memory_totals(values["memory"])
    return (*values.values(), *totals, storage_total(values["drives"] or ()))


async def _save_readings(
    connection: AsyncConnection,
    filed: Sequence[FiledReading],
    numbers: dict[int, int],
) -> None:
    stored = [
        replace(reading, pack_id=numbers[reading.pack_id])
        if reading.pack_id in numbers
        else reading
        for reading in filed
    ]
    await insert_rows(
        connection,
        readings,
        _READING,
        [_reading_values(reading) for reading in stored],
        "ON CONFLICT DO NOTHING",
    )
    days = {(reading.pack_id, reading.measured_at.date()) for reading in stored}
    await save_days(connection, days)


def _reading_values(reading: FiledReading) -> tuple[Any, ...]:
    return (
        reading.pack_id,
        reading.laptop_id,
        reading.report_id,
        reading.measured_at,
        reading.mains_online,
        *_read_values(reading.pack),
    )
