"""Daily values of many packs as arrays, read without making an object of each row."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.arrays import CountArray, FloatArray
from fadewatch_collector.store.raw_rows import EPOCH_ORDINAL, raw_rows
from fadewatch_collector.store.tables import daily_capacity, packs

# One value holds all numbers: a statement takes a limited number of values. A pack comes
# as a few texts: a row each day takes nearly twice as long until it stands in an array.
# SQLite writes 15 digits, and a median of whole numbers has one behind the point.
_ON_SQLITE = """
    SELECT pack_id, count(*), group_concat(day), group_concat(full_charge_capacity),
        group_concat(design_capacity), group_concat(coalesce(cycle_count, 'nan'))
    FROM daily_capacity WHERE pack_id IN (SELECT value FROM json_each(?))
    GROUP BY pack_id
"""
_ON_POSTGRESQL = """
    SELECT pack_id, array_agg(day - DATE '1970-01-01'), array_agg(full_charge_capacity),
        array_agg(design_capacity), array_agg(cycle_count)
    FROM daily_capacity WHERE pack_id = ANY($1::bigint[]) GROUP BY pack_id
"""


@dataclass(frozen=True, slots=True, eq=False)
class DailySeries:
    """Daily values, one entry a pack and day, in any order.

    Attributes
    ----------
    pack
        Number of the pack.
    day
        [d since 1970-01-01]
    full, design
        Capacities, in one unit within an entry.
    cycles
        Cycle count; NaN where unknown.
    """

    pack: CountArray
    day: CountArray
    full: FloatArray
    design: FloatArray
    cycles: FloatArray


async def load_series(
    connection: AsyncConnection, pack_ids: Sequence[int]
) -> DailySeries:
    """Load the daily values of packs, each row in its own unit."""
    if connection.dialect.name == "sqlite":
        wanted = json.dumps(list(pack_ids))
        return _from_texts(await raw_rows(connection, _ON_SQLITE, wanted))
    return _from_arrays(await raw_rows(connection, _ON_POSTGRESQL, list(pack_ids)))


def _from_texts(rows: Sequence[Sequence[Any]]) -> DailySeries:
    numbers, counts, day, *others = zip(*rows, strict=True) if rows else [()] * 6
    days = ",".join(day).split(",") if day else []
    # The packs of a batch share their days: each text is read once.
    number = {text: date.fromisoformat(text).toordinal() for text in set(days)}
    full, design, cycles = map(_numbers, others)
    return DailySeries(
        np.repeat(np.array(numbers, dtype=np.int64), counts or 0),
        np.fromiter(map(number.__getitem__, days), np.int64, len(days)) - EPOCH_ORDINAL,
        full,
        design,
        cycles,
    )


def _numbers(texts: Sequence[str]) -> FloatArray:
    values = ",".join(texts).split(",") if texts else []
    return np.array(values, dtype=np.float64)


def _from_arrays(rows: Sequence[Any]) -> DailySeries:
    packs_of_rows = np.array([row[0] for row in rows], dtype=np.int64)
    lengths = [len(row[1]) for row in rows]
    day, full, design, cycles = (
        np.array([value for row in rows for value in row[place]], dtype=np.float64)
        for place in (1, 2, 3, 4)
    )
    pack = np.repeat(packs_of_rows, lengths)
    return DailySeries(pack, day.astype(np.int64), full, design, cycles)


async def packs_in_two_units(
    connection: AsyncConnection, pack_ids: Sequence[int]
) -> list[int]:
    """Return the packs whose daily values stand in more than one unit."""
    unit, pack_id = daily_capacity.c.unit, daily_capacity.c.pack_id
    first = select(unit).where(pack_id == packs.c.id).limit(1)
    least = first.order_by(unit).scalar_subquery()
    most = first.order_by(unit.desc()).scalar_subquery()
    query = select(packs.c.id).where(packs.c.id.in_(pack_ids), least != most)
    return list(await connection.scalars(query))
