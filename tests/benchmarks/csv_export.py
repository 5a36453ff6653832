"""Measure the fleet CSV against a plain SELECT written by csv.writer, in one run.

    python -m tests.benchmarks.csv_export [--packs 50000] [--rounds 3]

Prints both speeds, the ratio of their times, and how far the process's peak memory
grew while the whole fleet went by.
"""

import argparse
import asyncio
import csv
import multiprocessing
import resource
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy.dialects import sqlite

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.fleet import fleet_query
from fadewatch_collector.store.store import open_store, sqlite_url
from fadewatch_collector.usecases.exports import FLEET_SOURCES, stream_fleet_csv
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.benchmarks.fleet_store import fill


def peak_mib() -> float:
    """Return the process's peak memory so far [MiB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def make_store(path: Path, packs: int) -> None:
    """Fill a store; in a process of its own, so that this one stays small."""

    async def make() -> None:
        store = open_store(sqlite_url(path))
        await fill(store, packs)
        await store.close()

    asyncio.run(make())


def write_plainly(path: Path, out: Path) -> None:
    """Run the same SELECT through the driver and csv.writer alone."""
    query = fleet_query(FLEET_SOURCES, is_sqlite=True).compile(
        dialect=sqlite.dialect(), compile_kwargs={"literal_binds": True}
    )
    with closing(sqlite3.connect(path)) as db, out.open("w", newline="") as file:
        csv.writer(file).writerows(db.execute(str(query)))


def write_export(path: Path, out: Path, most_bytes: float = float("inf")) -> None:
    """Write the fleet CSV as the collector does, up to about ``most_bytes``."""

    async def write() -> None:
        store = open_store(sqlite_url(path))
        services = Services(
            store, Settings(), DEFAULT_POLICY, lambda: datetime.now(UTC)
        )
        with out.open("wb") as file:
            pieces = stream_fleet_csv(services)
            async for piece in pieces:
                if file.tell() + file.write(piece) > most_bytes:
                    break
            await pieces.aclose()
        await store.close()

    asyncio.run(write())


def seconds(work: Callable[[], None]) -> float:
    """Return how long it takes [s]."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main(packs: int, rounds: int) -> None:
    """Fill a store, then time both ways in turn and keep the best of each."""
    with tempfile.TemporaryDirectory() as folder:
        path, out = Path(folder) / "fleet.sqlite3", Path(folder) / "fleet.csv"
        filler = multiprocessing.get_context("spawn").Process(
            target=make_store, args=(path, packs)
        )
        filler.start()
        filler.join()
        write_export(path, out, most_bytes=1_000_000)
        before = peak_mib()
        write_export(path, out)
        grown = peak_mib() - before
        export, plain = [], []
        for _ in range(rounds):
            export.append(seconds(lambda: write_export(path, out)))
            plain.append(seconds(lambda: write_plainly(path, out)))
    print(f"{packs} packs, best of {rounds}")
    print(f"plain SELECT and csv.writer  {packs / min(plain):>9,.0f} rows/s")
    print(f"fleet CSV                    {packs / min(export):>9,.0f} rows/s")
    print(f"ratio of times               {min(export) / min(plain):>9.2f}")
    print(f"peak memory grew by          {grown:>9.1f} MiB, from {before:.1f} MiB")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--packs", type=int, default=50_000)
    parser.add_argument("--rounds", type=int, default=3)
    arguments = parser.parse_args()
    main(arguments.packs, arguments.rounds)
