"""Measure the order list of a large fleet on SQLite, from the store to the answer.

    python -m tests.benchmarks.order_list [--laptops 100000] [--rounds 5]

Prints, for each round, the wall clock and the processor time of the whole answer. The
target is under 2 s for 100,000 laptops on one core.
"""

import argparse
import asyncio
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from fadewatch_collector.rules.stock import StockFigures
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.stock import keep_stock
from fadewatch_collector.store.store import open_store, sqlite_url
from fadewatch_collector.usecases.order_list import order_list
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.benchmarks.fleet_store import NOW, fill

STOCK = StockFigures(
    on_hand=20, on_order=50, lead_time_days=21, price_minor=6_490, currency="EUR"
)


async def enter(services: Services) -> None:
    """Enter stock, lead times and prices of every type."""
    found = await order_list(services)
    async with services.store.writing() as connection:
        for place, line in enumerate(found.lines):
            figures = replace(STOCK, lead_time_days=7 * (1 + place % 6))
            await keep_stock(
                connection,
                line.type.key,
                figures,
                who="benchmark",
                now=NOW,
                replaces=None,
                version=0,
            )


async def measure(path: Path, laptops: int, rounds: int) -> None:
    """Fill a store and time its order list."""
    store = open_store(sqlite_url(path))
    services = Services(store, Settings(), DEFAULT_POLICY, lambda: NOW)
    await fill(store, laptops)
    await enter(services)
    for _ in range(rounds):
        wall, processor = time.perf_counter(), time.process_time()
        found = await order_list(services)
        print(
            f"{found.fitted} packs, {len(found.lines)} types, {len(found.sites)} sites,"
            f" {found.draws} draws: {time.perf_counter() - wall:.2f} s by the clock,"
            f" {time.process_time() - processor:.2f} s of processor"
        )
    year = (await order_list(services)).needed[-1]
    print(f"needed within a year: {year.central} ({year.low} to {year.high})")
    await store.close()


def main() -> None:
    """Run the measurement in a temporary folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--laptops", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "fleet.sqlite3"
        asyncio.run(measure(path, given.laptops, given.rounds))


if __name__ == "__main__":
    main()
