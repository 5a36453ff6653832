"""A year of daily values for every pack of a large store, written in bulk.

One value a week unless asked for more, 52 a pack: a year's course at a seventh of the
rows, so that a million packs (52 million rows) fit on a disk and are written in minutes.
The course ends at the wear that the pack's own row shows; a sixth of the packs have a
knee, one in fifty a drop, some values are missing. The same pack has the same course on both databases.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import date, timedelta
from typing import Any

import asyncpg
import numpy as np
from sqlalchemy import make_url

from fadewatch_collector.analysis.arrays import FloatArray
from tests.benchmarks.fleet_store import BATCH, NOW, wear_of

YEAR_DAYS = 52 * 7
WEEK_DAYS = 7
CHARGING_WEEKS = 13
"""Days with charging counts, one a week: those that habits are told from [count]."""
MISSING = 0.03
SEED = 1_000_003

CAPACITY = (
    "pack_id",
    "day",
    "unit",
    "design_capacity",
    "full_charge_capacity",
    "cycle_count",
    "temperature_c",
    "readings",
)
CHARGING = (
    "pack_id",
    "day",
    "readings",
    "judged",
    "on_mains",
    "near_full",
    "held",
    "temperature_c",
    "near_full_temperature_c",
    "lowest_charge",
    "charge_limit_percent",
)

Rows = Iterator[tuple[Any, ...]]


async def add_days(url: str, packs: int, every_days: int = WEEK_DAYS) -> None:
    """Write the values of packs 1 to ``packs`` in key order, one in so many days."""
    if url.startswith("sqlite"):
        _add_to_sqlite(make_url(url).database or "", packs, every_days)
    else:
        await _add_to_postgres(url, packs, every_days)


def _add_to_sqlite(path: str, packs: int, every_days: int) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        # Nothing here needs to outlive a power cut; a failed fill is thrown away.
        db.execute("PRAGMA synchronous=OFF")
        for table, columns, rows in _tables(packs, every_days, _text):
            db.execute("BEGIN IMMEDIATE")
            marks = ", ".join("?" * len(columns))
            db.executemany(
                f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})",  # noqa: S608  # our own names
                rows,
            )
            db.execute("COMMIT")


async def _add_to_postgres(url: str, packs: int, every_days: int) -> None:
    connection = await asyncpg.connect(url)
    try:
        # The packs are there: checking each of the rows for it takes most of the time.
        await connection.execute("SET session_replication_role = replica")
        await connection.execute("SET synchronous_commit = off")
        for table, columns, rows in _tables(packs, every_days, lambda day: day):
            await connection.copy_records_to_table(table, records=rows, columns=columns)
        await connection.execute("ANALYZE")
    finally:
        await connection.close()


def _text(day: date) -> str:
    return day.isoformat()


def _tables(
    packs: int, every_days: int, kept: Any
) -> Iterator[tuple[str, Sequence[str], Rows]]:
    today = NOW.date()
    ago = range(YEAR_DAYS - every_days, -1, -every_days)
    days = [kept(today - timedelta(days=count)) for count in ago]
    weeks = [kept(today - timedelta(weeks=n)) for n in range(CHARGING_WEEKS)][::-1]
    for first in range(1, packs + 1, BATCH):
        numbers = np.arange(first, min(first + BATCH, packs + 1))
        yield "daily_capacity", CAPACITY, _capacity(numbers, days)
        yield "daily_charging", CHARGING, _charging(numbers, weeks)


def _capacity(numbers: Any, days: Sequence[Any]) -> Rows:
    rng = np.random.default_rng([SEED, int(numbers[0])])
    design = 57_000 - numbers % 3 * 10
    health = _courses(rng, 1.0 - wear_of(numbers), len(days))
    full = np.round(design[:, None] * health)
    there = rng.random(full.shape) >= MISSING
    there[:, -1] = True
    pack, place = np.nonzero(there)
    ago = (len(days) - 1 - place) * 52 // len(days)
    return zip(
        numbers[pack].tolist(),
        map(days.__getitem__, place.tolist()),
        ["mWh"] * pack.size,
        design[pack].astype(float).tolist(),
        full[there].tolist(),
        np.maximum(numbers[pack] % 600 + 1 - 3 * ago, 1).tolist(),
        (22.0 + (numbers[pack] + place) % 17).tolist(),
        [4] * pack.size,
        strict=True,
    )


def _courses(rng: np.random.Generator, last: FloatArray, count: int) -> FloatArray:
    """Return so many values of a year a pack, of health that comes down to ``last``."""
    packs = last.size
    months = np.arange(count - 1, -1, -1) * (YEAR_DAYS / count) / 30.4375
    rate = rng.lognormal(np.log(0.008), 0.5, (packs, 1))
    knee = np.where(rng.random((packs, 1)) < 1 / 6, rng.uniform(0, 12, (packs, 1)), 0.0)
    faster = np.minimum(months, knee) * rng.uniform(1, 4, (packs, 1))
    fell = np.where(rng.random((packs, 1)) < 0.02, rng.uniform(0, 12, (packs, 1)), -1.0)
    size = rng.uniform(0.08, 0.3, (packs, 1)) * (months < fell)
    before = size.max(axis=1, keepdims=True) - size
    health = last[:, None] + rate * (months + faster) + before
    health += rng.normal(0.0, 0.006, health.shape)
    kept: FloatArray = np.clip(health, 0.05, 1.1)
    return kept


def _charging(numbers: Any, days: Sequence[Any]) -> Rows:
    pack = np.repeat(numbers, len(days))
    week = np.tile(np.arange(len(days)), numbers.size)
    near_full = np.where((pack + week) % 7 < pack % 8, 4, 0)
    limits = [100 if n % 3 == 0 else None for n in pack.tolist()]
    return zip(
        pack.tolist(),
        map(days.__getitem__, week.tolist()),
        [4] * pack.size,
        [4] * pack.size,
        [4] * pack.size,
        near_full.tolist(),
        [0] * pack.size,
        (25.0 + week % 9).tolist(),
        (31.0 + week % 7).tolist(),
        (0.4 + (pack + week) % 50 / 100.0).tolist(),
        limits,
        strict=True,
    )
