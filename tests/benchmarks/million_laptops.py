"""A million laptops report to one collector, at twenty times their mean rate.

    python -m tests.benchmarks.million_laptops [sqlite|postgres] [--minutes 2]
        [--laptops 1000000] [--rate 926] [--burst 1000] [--drain-minutes 5]

A store with so many enrolled laptops, each with a key and a pack, is made first (a
minute or two); then a process of its own sends reports, another laptop's each time, and
in the middle for ten seconds a burst on top. A million laptops that report every six
hours send 46 a second; 926 are twenty times that. Prints the intake's queue over time,
how long answers took, what waited to be filed and assessed at the end, how long that
took to drain, and the collector's memory. The whole takes the minutes given, about two
for making the store, and those for draining; `--minutes 10` is the full one.
"""

import argparse
import asyncio
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.queues import QueueDepths, queue_depths
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import Store, open_store
from fadewatch_collector.store.tables import readings, reports
from tests.benchmarks.million_fleet import report_text, seed_postgres, seed_sqlite
from tests.integration.postgres import running_postgres
from tests.processes import CollectorProcess, children_of, free_port
from tests.reports import START

SAMPLE_S = 5.0
P99_MS = 50.0
"""What the 99th percentile of answers should stay under at half load [ms]."""


@dataclass(slots=True)
class Course:
    """What was seen while the reports came, and after."""

    began: float = field(default_factory=time.monotonic)
    at: float = field(default_factory=time.time)
    depths: list[tuple[float, QueueDepths]] = field(default_factory=list)
    resident_mb: list[float] = field(default_factory=list)
    processor_s: float = 0.0

    async def sample(self, store: Store, pid: int) -> QueueDepths:
        """Look once."""
        async with store.reading() as connection:
            found = await queue_depths(connection)
        self.depths.append((time.monotonic() - self.began, found))
        # Both processes: intake and pages, and what works behind them.
        both = (pid, *children_of(pid))
        self.resident_mb.append(sum(map(resident_mb, both)))
        self.processor_s = sum(map(processor_s, both))
        return found


def resident_mb(pid: int) -> float:
    """Return the memory that a process holds [MB]."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024 / 1e6
    return 0.0


def processor_s(pid: int) -> float:
    """Return the processor time that a process has used [s]."""
    parts = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def filled_store(engine: str, folder: Path, laptops: int) -> Iterator[str | None]:
    """Make the store; gives the database's address, None for SQLite."""
    if engine == "sqlite":
        settings = Settings(data_folder=folder)
        asyncio.run(_upgraded(settings.store_url))
        seed_sqlite(folder / "fadewatch.sqlite3", laptops)
        yield None
        return
    with running_postgres() as server:
        address = asyncio.run(server.empty_database())
        asyncio.run(_upgraded(address))
        asyncio.run(seed_postgres(address, laptops))
        yield address


async def _upgraded(address: str) -> None:
    store = open_store(address)
    await upgrade(store)
    await store.close()


@contextmanager
def watched(collector: CollectorProcess, file: Path) -> Iterator[int]:
    """Run a collector that writes down how it stands; gives its number."""
    program = [sys.executable, "-m", "tests.benchmarks.watched_collector", str(file)]
    log = collector.folder / "collector.log"
    with log.open("ab") as out:
        process = subprocess.Popen(
            program, env=collector.environment(), stdout=out, stderr=out
        )
    try:
        until = time.monotonic() + 120
        while not collector._answers():
            assert process.poll() is None, log.read_text()[-2000:]
            assert time.monotonic() < until, "the collector does not answer"
            time.sleep(0.2)
        yield process.pid
    finally:
        process.terminate()
        process.wait(60)


async def send(
    asked: argparse.Namespace, store: Store, port: int, pid: int
) -> tuple[Course, dict[str, Any]]:
    """Let the load run and look at the store meanwhile."""
    seconds = asked.minutes * 60
    program = (
        "-m",
        "tests.benchmarks.million_load",
        *map(str, (port, seconds, asked.rate, asked.burst, seconds / 2, asked.laptops)),
    )
    course = Course()
    load = await asyncio.create_subprocess_exec(
        sys.executable, *program, stdout=asyncio.subprocess.PIPE
    )
    ended = asyncio.create_task(load.communicate())
    while not ended.done():
        await course.sample(store, pid)
        await asyncio.wait([ended], timeout=SAMPLE_S)
    out, _ = await ended
    return course, json.loads(out)


async def drain(
    asked: argparse.Namespace, store: Store, pid: int
) -> tuple[Course, float | None]:
    """Wait until all is filed; gives how long that took [s], None when it did not."""
    course = Course()
    until = course.began + asked.drain_minutes * 60
    filed_after: float | None = None
    while True:
        found = await course.sample(store, pid)
        if filed_after is None and not found.filing.count:
            filed_after = course.depths[-1][0]
        is_done = filed_after is not None and not found.assessment.count
        if is_done or time.monotonic() > until:
            return course, filed_after
        await asyncio.sleep(1)


async def stored(store: Store) -> tuple[int, int]:
    """Count reports and readings."""
    async with store.reading() as connection:
        kept = await connection.scalar(select(func.count()).select_from(reports))
        read = await connection.scalar(select(func.count()).select_from(readings))
    return kept or 0, read or 0


async def simulate(
    asked: argparse.Namespace, collector: CollectorProcess, pid: int, lines: Path
) -> None:
    """Send, drain, and print."""
    settings = Settings(data_folder=collector.folder)
    address = collector.settings.get("DATABASE_URL", settings.store_url)
    store = open_store(address)
    before = os.getloadavg()[0]
    course, sent = await send(asked, store, collector.port, pid)
    loaded_s = course.processor_s
    after, filed_after = await drain(asked, store, pid)
    kept, read = await stored(store)
    await store.close()
    seen = read_lines(lines)
    show(asked, before, sent)
    show_queues(asked, course, seen)
    waiting = after.depths[0][1]
    print(f"waiting to be filed at the end: {waiting.filing.count:,}", end="; ")
    print(
        "not drained in time"
        if filed_after is None
        else f"all filed {filed_after:.0f} s later"
    )
    left = after.depths[-1][1].assessment.count
    rate = (waiting.assessment.count - left) / max(after.depths[-1][0], 1)
    print(
        f"waiting to be assessed at the end: {waiting.assessment.count:,}; after "
        f"{after.depths[-1][0]:.0f} s {left:,} ({rate:,.0f} packs/s net)"
    )
    most = max(*course.resident_mb, *after.resident_mb)
    print(
        f"collector: {most:.0f} MB at most ({course.resident_mb[0]:.0f} at the start), "
        f"{loaded_s / (asked.minutes * 60):.2f} processors under load"
    )
    ok = sent["statuses"].get("200", 0)
    print(f"stored {kept:,}, answered 'stored' {ok:,}, filed {read:,} readings")
    judge(asked, sent, kept, read, filed_after)


def read_lines(file: Path) -> list[dict[str, float]]:
    """Read what the watched collector wrote down."""
    return [json.loads(line) for line in file.read_text().splitlines()]


def show(asked: argparse.Namespace, load: float, sent: dict[str, Any]) -> None:
    """Print what was sent and how it was answered."""
    size = len(report_text(1, "0" * 36, START, 53_000))
    print(
        f"{asked.engine}, {asked.laptops:,} laptops, {asked.minutes:g} min at "
        f"{asked.rate:g}/s, +{asked.burst:g}/s for 10 s; {size} bytes a report; "
        f"load before {load:.1f}, {datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    )
    print(f"sent {sent['sent']:,}; answers {sent['statuses']}")
    for name in ("steady", "burst"):
        told = ", ".join(f"{key} {value:.1f}" for key, value in sent[name].items())
        print(f"{name}: {told}")


def show_queues(
    asked: argparse.Namespace, course: Course, seen: list[dict[str, float]]
) -> None:
    """Print how long the queues were over time."""
    parts = 10
    seconds = asked.minutes * 60
    loaded = [line for line in seen if course.at <= line["at"] <= course.at + seconds]
    step = max(1, len(loaded) // parts)
    print("intake's queue, most in each part:", end=" ")
    print(
        *(
            f"{max(line['waiting'] for line in loaded[i : i + step]):.0f}"
            for i in range(0, len(loaded), step)
        )
    )
    late = sorted(line["late_s"] for line in loaded) or [0.0]
    print(
        f"event loop, longest delay in a second: median {late[len(late) // 2] * 1000:.0f} "
        f"ms, worst {late[-1] * 1000:.0f} ms"
    )
    inside = [(at, found) for at, found in course.depths if at <= seconds]
    step = max(1, len(inside) // parts)
    for name in ("filing", "assessment"):
        told = (f"{getattr(found, name).count:,}" for _, found in inside[::step])
        print(f"waiting for {name}:", *told)


def judge(
    asked: argparse.Namespace,
    sent: dict[str, Any],
    kept: int,
    read: int,
    filed_after: float | None,
) -> None:
    """Say what was reached."""
    refused = {name for name in sent["statuses"] if name != "200"}
    verdicts = {
        "queue never full: no answer but 200": not refused,
        "rate held": sent["sent"] >= 0.98 * asked.rate * asked.minutes * 60,
        "all answered is stored, once": kept == sent["statuses"].get("200", 0),
        "all stored is filed": filed_after is not None and read == kept,
        f"p99 under {P99_MS:.0f} ms": sent["steady"]["p99_ms"] < P99_MS,
    }
    for name, reached in verdicts.items():
        print(f"{name}: {'reached' if reached else 'NOT reached'}")


def main() -> None:
    """Make the store, run, and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.million_laptops")
    parser.add_argument(
        "engine", nargs="?", choices=("sqlite", "postgres"), default="sqlite"
    )
    parser.add_argument("--minutes", type=float, default=2.0)
    parser.add_argument("--laptops", type=int, default=1_000_000)
    parser.add_argument("--rate", type=float, default=926.0)
    parser.add_argument("--burst", type=float, default=1000.0)
    parser.add_argument("--drain-minutes", type=float, default=5.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="fadewatch-million-") as name:
        folder = Path(name) / "data"
        folder.mkdir()
        began = time.monotonic()
        with filled_store(asked.engine, folder, asked.laptops) as address:
            print(f"store made in {time.monotonic() - began:.0f} s", flush=True)
            more = {} if address is None else {"DATABASE_URL": address}
            collector = CollectorProcess(folder, free_port(), more)
            lines = Path(name) / "lines"
            with watched(collector, lines) as pid:
                asyncio.run(simulate(asked, collector, pid, lines))


if __name__ == "__main__":
    main()
