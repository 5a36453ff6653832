"""Measure one commit of 64 reports: through SQLAlchemy by rows, and as intake writes.

    python -m tests.benchmarks.report_groups [--commits 60]

By turns on the same store, SQLite and PostgreSQL with fsync on; half a minute. Prints
the time of a commit and the processor time that it takes from the event loop.
"""

import argparse
import asyncio
import random
import statistics
import tempfile
import time
from collections import defaultdict
from pathlib import Path

from sqlalchemy import insert

from fadewatch_collector.store import intake as rows
from fadewatch_collector.store.report_group import NewReport
from fadewatch_collector.store.report_writer import report_writer
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import Store, open_store, sqlite_url
from fadewatch_collector.store.tables import laptops
from fadewatch_common.encoding import to_json
from fadewatch_common.report_id import make_report_id
from tests.benchmarks.ingest_reports import report_of
from tests.integration.postgres import running_postgres
from tests.reports import START

SIZE = 64
LAPTOPS = 2_000
BODIES = [to_json(report_of(number)) for number in range(200)]


def new_group(chance: random.Random) -> list[NewReport]:
    """Make reports of laptops here and there."""
    now_ms = time.time_ns() // 1_000_000
    return [
        NewReport(
            make_report_id(now_ms, chance.getrandbits(74)),
            chance.randrange(LAPTOPS) + 1,
            None,
            START,
            chance.choice(BODIES),
        )
        for _ in range(SIZE)
    ]


async def by_rows(store: Store, group: list[NewReport]) -> None:
    """Write a group as it was written before."""
    values = [
        {
            "report_id": report.report_id,
            "laptop_id": report.laptop_id,
            "measured_at": report.measured_at,
            "received_at": START,
            "body": report.body,
        }
        for report in group
    ]
    async with store.writing() as connection:
        await rows.add_reports(connection, values)
        await rows.note_contact(connection, {r.laptop_id: START for r in group})


async def measure(name: str, url: str, commits: int) -> None:
    """Write groups both ways by turns, and print."""
    store, chance = open_store(url), random.Random(5)  # noqa: S311  no secrets
    await upgrade(store)
    async with store.writing() as connection:
        known = [{"id": n + 1, "enrolled_at": START} for n in range(LAPTOPS)]
        await connection.execute(insert(laptops), known)
    wall, loop = defaultdict(list), defaultdict(list)
    async with report_writer(store) as writer:
        for _ in range(commits):
            for way in ("rows", "group"):
                group = new_group(chance)
                began, processor = time.perf_counter(), time.thread_time()
                if way == "rows":
                    await by_rows(store, group)
                else:
                    await writer.write(group, [], START)
                wall[way].append(1000 * (time.perf_counter() - began))
                loop[way].append(1000 * (time.thread_time() - processor))
    await store.close()
    for way, times in wall.items():
        print(
            f"{name:10} {way:6} best {min(times):6.2f}, median "
            f"{statistics.median(times):6.2f} ms a commit; of the loop best "
            f"{min(loop[way]):5.2f}, median {statistics.median(loop[way]):5.2f} ms"
        )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--commits", type=int, default=60)
    commits = parser.parse_args().commits
    with tempfile.TemporaryDirectory() as folder:
        url = sqlite_url(Path(folder) / "store.sqlite3")
        asyncio.run(measure("sqlite", url, commits))
    with running_postgres(durable=True) as server:
        url = asyncio.run(server.empty_database())
        asyncio.run(measure("postgresql", url, commits))


if __name__ == "__main__":
    main()
