"""Daily values of many packs as arrays, read without making an object of each row."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.arrays import CountArray, FloatArray
from fadewatch_collector.store.raw_rows import raw_rows
from fadewatch_collector.store.tables import daily_capacity, packs

# One value holds all numbers: a statement takes a limited number of values. A pack comes
# as a few texts or strings of bytes: a row each day takes much longer until it stands in
# an array. Whole numbers are written and read in a third of the time of others; SQLite
# writes those with 15 digits, and a median of whole numbers has one behind the point.
_WHOLE = "iif({0} = CAST({0} AS INTEGER), CAST({0} AS INTEGER), {0})"
_ON_SQLITE = f"""
    SELECT pack_id, count(*), group_concat(day),
        group_concat({_WHOLE.format("full_charge_capacity")}),
        group_concat({_WHOLE.format("design_capacity")}),
        group_concat(coalesce(cycle_count, 'NaN'))
    FROM daily_capacity WHERE pack_id IN (SELECT value FROM json_each(?))
    GROUP BY pack_id
"""  # noqa: S608  # our own columns
_ON_POSTGRESQL = """
    SELECT pack_id, count(*), string_agg(int4send(day - DATE '1970-01-01'), ''::bytea),
        string_agg(float8send(full_charge_capacity), ''::bytea),
        string_agg(float8send(design_capacity), ''::bytea),
        string_agg(int4send(coalesce(cycle_count, -1)), ''::bytea)
    FROM daily_capacity WHERE pack_id = ANY($1::bigint[]) GROUP BY pack_id
"""
_DAY_BYTES = 11
"""A day as text, and the comma after it."""


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
    return _from_bytes(await raw_rows(connection, _ON_POSTGRESQL, list(pack_ids)))


def _from_texts(rows: Sequence[Sequence[Any]]) -> DailySeries:
    numbers, counts, days, full, design, cycles = _columns(rows)
    return DailySeries(
        np.repeat(np.array(numbers, dtype=np.int64), counts),
        _days(days),
        *map(_numbers, (full, design, cycles)),
    )


def _days(texts: Sequence[str]) -> CountArray:
    """Return days written as 2026-01-31, all at once, by the digits of their texts."""
    written = "".join(f"{text}," for text in texts).encode()
    digits = np.frombuffer(written, np.uint8).reshape(-1, _DAY_BYTES).astype(np.int64)
    digits -= ord("0")
    year, month, day = (
        digits[:, first:last] @ 10 ** np.arange(last - first)[::-1]
        for first, last in ((0, 4), (5, 7), (8, 10))
    )
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    found: CountArray = months.astype("datetime64[D]").astype(np.int64) + day - 1
    return found


def _numbers(texts: Sequence[str]) -> FloatArray:
    return np.array(json.loads(f"[{','.join(texts)}]"), dtype=np.float64)


def _from_bytes(rows: Sequence[Sequence[Any]]) -> DailySeries:
    numbers, counts, *others = _columns(rows)
    # In the order of bytes of the wire (PostgreSQL's binary format): the largest first.
    day, full, design, cycles = (
        np.frombuffer(b"".join(sent), kind)
        for sent, kind in zip(others, (">i4", ">f8", ">f8", ">i4"), strict=True)
    )
    return DailySeries(
        np.repeat(np.array(numbers, dtype=np.int64), counts),
        day.astype(np.int64),
        full.astype(np.float64),
        design.astype(np.float64),
        np.where(cycles < 0, np.nan, cycles),
    )


def _columns(rows: Sequence[Sequence[Any]]) -> list[list[Any]]:
    return [[row[place] for row in rows] for place in range(6)]


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
