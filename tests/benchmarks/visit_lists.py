"""How long the lists of visits take on a big store: python -m tests.benchmarks.visit_lists [LAPTOPS].

A fleet of `fleet_store`, on SQLite in a temporary folder. Every figure is the median of
some runs on a warm store, in this one process.
"""

import asyncio
import statistics
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.store import open_store, sqlite_url
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visit_lists import SHEETS_AT_ONCE, due_list
from fadewatch_collector.usecases.visits_csv import stream_visits_csv
from fadewatch_common.policy import DEFAULT_POLICY
from tests.benchmarks.fleet_store import NOW, fill

LAPTOPS = 100_000
RUNS = 5


async def measure(laptops: int) -> None:
    """Fill a store and print how long each list takes."""
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(sqlite_url(Path(folder) / "store.sqlite3"))
        settings = Settings(data_folder=Path(folder))
        services = Services(store, settings, DEFAULT_POLICY, lambda: NOW)
        await fill(store, laptops)
        await _show("list, first page", lambda: _page(services))
        await _show("list without counts", lambda: _page(services, is_counted=False))
        await _show(
            f"{SHEETS_AT_ONCE} sheets",
            lambda: _page(services, limit=SHEETS_AT_ONCE, is_counted=False),
        )
        await _show("one site", lambda: _page(services, site="Site 05"))
        await _show("nothing planned", lambda: _page(services, wanted="planned"))
        first = await due_list(services, within_days=30)
        count = sum(one.due for one in first.counts)
        deep = await _cursor_at(services, 40)
        await _show("list, page 40", lambda: _page(services, cursor=deep))
        started, at_work = time.perf_counter(), time.process_time()
        size = 0
        async for piece in stream_visits_csv(services):
            size += len(piece)
        spent, worked = time.perf_counter() - started, time.process_time() - at_work
        print(
            f"CSV of {count} due laptops, {size / 1e6:.1f} MB: {spent:.1f} s by the "
            f"clock, {worked:.1f} s of processor time"
        )
        await store.close()


async def _page(services: Services, **more: object) -> None:
    await due_list(services, within_days=30, **more)  # type: ignore[arg-type]  # of runs


async def _cursor_at(services: Services, page: int) -> str | None:
    cursor = None
    for _ in range(page):
        shown = await due_list(
            services, within_days=30, cursor=cursor, is_counted=False
        )
        cursor = shown.next_cursor
    return cursor


async def _show(name: str, run: Callable[[], Awaitable[None]]) -> None:
    spent, worked = [], []
    for _ in range(RUNS):
        started, at_work = time.perf_counter(), time.process_time()
        await run()
        spent.append(time.perf_counter() - started)
        worked.append(time.process_time() - at_work)
    print(
        f"{name}: {1000 * statistics.median(spent):.0f} ms by the clock, "
        f"{1000 * statistics.median(worked):.0f} ms of processor time",
        flush=True,
    )


if __name__ == "__main__":
    asyncio.run(measure(int(sys.argv[1]) if len(sys.argv) > 1 else LAPTOPS))
