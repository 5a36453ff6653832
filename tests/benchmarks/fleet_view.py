"""How long the fleet view takes on a large fleet: its sum, its page, its kept forecasts.

python -m tests.benchmarks.fleet_view [LAPTOPS] [MONTHS OF KEPT FORECASTS]
"""

import asyncio
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import insert, text

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import Store, open_store, sqlite_url
from fadewatch_collector.store.tables import kept_forecasts, threshold_passings
from fadewatch_collector.usecases.fleet_figures import sum_up_fleet
from fadewatch_collector.usecases.fleet_view import fleet_view
from fadewatch_collector.usecases.forecasts import keep_forecasts
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.benchmarks.fleet_store import BATCH, NOW, fill, wear_of
from tests.integration.pages_service import running_pages

PLAN = 0.30


async def add_outcomes(store: Store, count: int, months: int) -> None:
    """Let the packs of the store have fades, passings and a past of forecasts."""
    async with store.writing() as connection:
        await connection.execute(
            text(
                "UPDATE assessments SET plan_wear = 0.3, replace_wear = 0.4, "
                "fade_source = 'own history', "
                "own_fade_per_month = 0.004 + (pack_id * 7919 % 1000) / 1e5, "
                "replace_earliest = '2028-01-01', replace_on = '2029-01-01', "
                "replace_latest = '2031-01-01'"
            )
        )
        await connection.execute(
            text("UPDATE packs SET first_seen_at = '2025-01-10 06:00:00.000000'")
        )
    for first in range(0, count, BATCH):
        numbers = range(first + 1, min(first + BATCH, count) + 1)
        async with store.writing() as connection:
            passed = [n for n in numbers if wear_of(n) >= PLAN]
            if passed:
                await connection.execute(
                    insert(threshold_passings),
                    [
                        {
                            "pack_id": n,
                            "threshold": PLAN,
                            "passed_on": date(2025, 6, 1) + timedelta(days=n % 500),
                        }
                        for n in passed
                    ],
                )
            rows = [_kept(n, month) for n in numbers for month in range(months)]
            if rows:
                await connection.execute(insert(kept_forecasts), rows)


def _kept(number: int, month: int) -> dict[str, Any]:
    as_of = NOW.date() - timedelta(days=30 * (month + 1))
    on = as_of + timedelta(days=90 + number % 700)
    return {
        "pack_id": number,
        "as_of": as_of,
        "wear": 0.2,
        "plan_wear": PLAN,
        "plan_earliest": as_of + (on - as_of) / 2,
        "plan_on": on,
        "plan_latest": as_of + (on - as_of) * 2,
        "replace_wear": 0.4,
        "replace_earliest": on,
        "replace_on": on + timedelta(days=200),
        "replace_latest": on + timedelta(days=700),
    }


async def main(count: int, months: int) -> None:
    """Make the store, then time what a collector does with it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "fadewatch.sqlite3"
        store = open_store(sqlite_url(path))
        await upgrade(store)
        await fill(store, count)
        await add_outcomes(store, count, months)
        services = Services(
            store, Settings(data_folder=Path(folder)), DEFAULT_POLICY, lambda: NOW
        )
        print(
            f"{count} packs, {count * months} kept forecasts, "
            f"{path.stat().st_size / 1e6:.0f} MB"
        )
        for name, work in (
            ("keep this month's forecasts", keep_forecasts),
            ("sum up the fleet", sum_up_fleet),
            ("read the view", fleet_view),
        ):
            started, used = time.perf_counter(), time.process_time()
            await work(services)
            print(
                f"{name}: {time.perf_counter() - started:.2f} s, "
                f"{time.process_time() - used:.2f} s of processor time"
            )
        async with running_pages(services) as pages:
            await pages.sign_in("viewer")
            page, spans = await pages.get("/fleet"), []
            for _ in range(9):
                started = time.perf_counter()
                page = await pages.get("/fleet")
                spans.append(1000 * (time.perf_counter() - started))
            print(
                f"page: {page.status}, {len(page.body) / 1000:.0f} kB, "
                f"median {sorted(spans)[4]:.0f} ms, with reading it in the test"
            )
        await store.close()


if __name__ == "__main__":
    arguments = [int(one) for one in sys.argv[1:]]
    asyncio.run(main(*(arguments or [100_000, 12])))
