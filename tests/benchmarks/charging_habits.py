"""Measure the nightly round of charging habits, the list and the CSV on SQLite.

    python -m tests.benchmarks.charging_habits [--packs 100000] [--days 90]

Prints how long the round took, what the first and a deep page of the list cost, with
and without a site, and how long the CSV took.
"""

import argparse
import asyncio
import tempfile
import time
from collections.abc import Awaitable
from pathlib import Path

from sqlalchemy import text

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases.charging import (
    ChargingFilter,
    charging_list,
    tell_habits,
)
from fadewatch_collector.usecases.charging_csv import stream_charging_csv
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.benchmarks.fleet_store import NOW, fill

DEEP = 200
"""Pages turned before the deep one is measured [count]."""

_DAYS = """
WITH RECURSIVE ago(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM ago WHERE n + 1 < :days)
INSERT INTO daily_charging
    (pack_id, day, readings, judged, on_mains, near_full, held, temperature_c,
     near_full_temperature_c, lowest_charge, charge_limit_percent)
SELECT id, date(:today, -n || ' days'), 4, 4, 4, CASE (id + n) % 7 < id % 8 WHEN 1
       THEN 4 ELSE 0 END, 0, 25.0 + n % 9, 31.0 + n % 7, 0.4 + (id + n) % 50 / 100.0,
       CASE id % 3 WHEN 0 THEN 100 END
FROM packs CROSS JOIN ago ORDER BY id, 2
"""


async def timed(what: str, work: Awaitable[object]) -> None:
    """Print how long something took."""
    wall, processor = time.perf_counter(), time.process_time()
    found = await work
    took = time.perf_counter() - wall, time.process_time() - processor
    print(f"{what}: {took[0]:.3f} s, {took[1]:.3f} s of processor time ({found})")


async def measure(folder: Path, packs: int, days: int) -> None:
    """Fill a store and measure."""
    settings = Settings(data_folder=folder)
    store = open_store(settings.store_url)
    services = Services(store, settings, DEFAULT_POLICY, lambda: NOW)
    await fill(store, packs)
    async with store.writing() as connection:
        await connection.execute(text(_DAYS), {"days": days, "today": str(NOW.date())})
    await timed("the round", tell_habits(services))
    for site in (None, "Site 07"):
        wanted = ChargingFilter(site=site)
        await timed(f"first page, {site}", _page(services, wanted, None))
        cursor: str | None = None
        for _ in range(DEEP):
            cursor = (await charging_list(services, wanted, cursor)).next_cursor
            if cursor is None:
                break
        await timed(f"deep page, {site}", _page(services, wanted, cursor))
    await timed("the CSV", _csv(services))
    await store.close()


async def _page(services: Services, wanted: ChargingFilter, cursor: str | None) -> str:
    return f"{len((await charging_list(services, wanted, cursor)).rows)} rows"


async def _csv(services: Services) -> str:
    size = 0
    async for piece in stream_charging_csv(services):
        size += len(piece)
    return f"{size / 1e6:.1f} MB"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--packs", type=int, default=100_000)
    parser.add_argument("--days", type=int, default=90)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(measure(Path(folder), asked.packs, asked.days))


if __name__ == "__main__":
    main()
