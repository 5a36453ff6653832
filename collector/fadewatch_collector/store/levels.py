"""The newest readings of packs without an identity, and what they turn out to be."""

from collections import defaultdict
from collections.abc import Collection, Mapping

from sqlalchemy import func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.levels import KEPT, Level
from fadewatch_collector.rules.records import Move
from fadewatch_collector.store.daily import forget_days, save_days
from fadewatch_collector.store.retention import readings_kept_from
from fadewatch_collector.store.tables import readings
from fadewatch_common.wear import is_plausible, wear


async def load_levels(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> dict[int, list[Level]]:
    """Load the newest plausible levels of packs, oldest first."""
    if not pack_ids:
        return {}
    column = readings.c
    place = func.row_number().over(
        partition_by=column.pack_id, order_by=column.measured_at.desc()
    )
    newest = (
        select(
            column.pack_id,
            column.measured_at,
            column.full_charge_capacity,
            column.design_capacity,
            column.cycle_count,
            place.label("place"),
        )
        .where(column.pack_id.in_(pack_ids))
        .subquery()
    )
    query = select(newest).where(newest.c.place <= KEPT).order_by(newest.c.measured_at)
    levels: dict[int, list[Level]] = defaultdict(list)
    for row in await connection.execute(query):
        full, design = row.full_charge_capacity, row.design_capacity
        if is_plausible(full, design):
            levels[row.pack_id].append(
                Level(row.measured_at, full, 1 - wear(full, design), row.cycle_count)
            )
    return dict(levels)


async def move_readings(
    connection: AsyncConnection, move: Move, numbers: Mapping[int, int]
) -> None:
    """Give stored readings to the pack they turned out to be of."""
    old = numbers.get(move.old_pack_id, move.old_pack_id)
    new = numbers.get(move.new_pack_id, move.new_pack_id)
    laptop_id, slot = move.place
    column = readings.c
    result = await connection.execute(
        update(readings)
        .where(
            column.pack_id == old,
            column.laptop_id == laptop_id,
            column.slot == slot,
            column.measured_at >= move.since,
        )
        .values(pack_id=new)
        .returning(column.measured_at)
    )
    kept_from = await readings_kept_from(connection)
    days = {
        (pack, at.date())
        for at in result.scalars()
        # The value of a day whose readings may be gone cannot be worked out again.
        if kept_from is None or at >= kept_from
        for pack in (old, new)
    }
    if days:
        await forget_days(connection, days)
        await save_days(connection, days)
