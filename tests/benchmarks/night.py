"""What the clock's rounds cost a large fleet, each for itself and all in one process.

    python -m tests.benchmarks.night [sqlite|postgres] [--packs 100000] [--folder FOLDER]
        [--every-days 7]

For each round: wall clock, processor time of this process and of the database's, and the
process's peak memory while it ran; all on one core. Beside the assessment stands what
scipy's slope alone would take for the same series, from a sample in the same run. The
packs have 52 weekly daily values and 13 days of charging counts each (`fleet_days`), not
364 and 90: reading them is a smaller part than in a fleet that reports every day, which
``--every-days 1`` makes.

A million packs take about 15 minutes on SQLite and 20 on PostgreSQL on an idle machine,
and 10 and 20 more to fill the store once.
"""

import asyncio
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import theilslopes

from fadewatch_collector.store.daily_series import load_series
from fadewatch_collector.usecases.rounds import ROUNDS
from fadewatch_collector.usecases.services import Services
from tests.benchmarks.big_store import Wanted, arguments, big_store
from tests.benchmarks.fleet_days import WEEK_DAYS

THREADS = "OPENBLAS_NUM_THREADS"
PACKS = 100_000
SAMPLE = 400
"""Series fitted by the library [count]."""
MOST_S = 15 * 60
"""Longest that the assessment of a million packs may take [s]."""
MILLION = 1_000_000


@dataclass(slots=True)
class Spent:
    """What something took [s], and the peak memory meanwhile [MiB]."""

    wall: float = 0.0
    own: float = 0.0
    database: float = 0.0
    peak: float = 0.0


@contextmanager
def watched() -> Iterator[Spent]:
    """Measure a block."""
    spent = Spent()
    _forget_peak()
    before = time.perf_counter(), time.process_time(), _database_s()
    yield spent
    spent.wall = time.perf_counter() - before[0]
    spent.own = time.process_time() - before[1]
    spent.database = _database_s() - before[2]
    spent.peak = peak_mib()


def _forget_peak() -> None:
    Path("/proc/self/clear_refs").write_text("5")


def peak_mib() -> float:
    """Return this process's peak memory since it was last forgotten [MiB]."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1]) / 1024
    raise RuntimeError("this system does not tell a peak")


_postmaster: list[int] = []
"""Number of the database's first process, where there is one."""


def _of_database() -> list[int]:
    """Return the numbers of the database's processes."""
    parents = {
        int(folder.name): int(_stat(folder)[1])
        for folder in Path("/proc").glob("[0-9]*")
        if _postmaster and _stat(folder)
    }
    return [
        number
        for number, parent in parents.items()
        if {number, parent} & set(_postmaster)
    ]


def _stat(folder: Path) -> list[str]:
    """Return what Linux tells of a process, from its state on; nothing once it ended."""
    try:
        return (folder / "stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []


def _database_s() -> float:
    ticks = os.sysconf("SC_CLK_TCK")
    known = [_stat(Path(f"/proc/{number}")) for number in _of_database()]
    # Fields 14 and 15 of proc(5): user and system time.
    return sum((int(one[11]) + int(one[12])) / ticks for one in known if one)


def on_one_core() -> None:
    """Keep this process and the database on one core."""
    core = {min(os.sched_getaffinity(0))}
    for number in (0, *_of_database()):
        os.sched_setaffinity(number, core)


async def slope_s(services: Services) -> float:
    """Return what the library's slope takes for one pack [s of processor time]."""
    async with services.store.reading() as connection:
        series = await load_series(connection, list(range(1, SAMPLE + 1)))
    order = np.lexsort((series.day, series.pack))
    ends = np.flatnonzero(np.diff(series.pack[order])) + 1
    days = np.split(series.day[order], ends)
    values = np.split((series.full / series.design)[order], ends)
    started = time.process_time()
    for day, value in zip(days, values, strict=True):
        theilslopes(value, day)
    return (time.process_time() - started) / len(days)


def line(name: str, packs: int, spent: Spent) -> None:
    """Print one line of the table."""
    used = spent.own + spent.database
    wall, used = (one * MILLION / packs / 60 for one in (spent.wall, used))
    print(
        f"{name:24}{spent.wall:9.1f} s{spent.own:11.1f} s{spent.database:10.1f} s"
        f"{spent.peak:9.0f} MiB{wall:9.1f} min{used:9.1f} min",
        flush=True,
    )


async def measure(wanted: Wanted) -> bool:
    """Print the table; returns whether the assessment is fast enough."""
    async with big_store(wanted) as services:
        _watch_database(services)
        on_one_core()
        packs = wanted.packs
        print(
            f"{packs:,} packs on {wanted.engine}, one core, load {os.getloadavg()[0]:.1f}"
        )
        print(
            f"{'round':24}{'wall clock':>11}{'processor':>13}{'database':>12}"
            f"{'peak':>13}{'a million':>13}{'processor':>13}"
        )
        all_of_them, assessing = Spent(), Spent()
        for work in ROUNDS:
            with watched() as spent:
                await work.work(services)
            line(work.name, packs, spent)
            if work.name == "assess-all":
                assessing = spent
            all_of_them.wall += spent.wall
            all_of_them.own += spent.own
            all_of_them.database += spent.database
            all_of_them.peak = max(all_of_them.peak, spent.peak)
        line("all of them", packs, all_of_them)
        slope = await slope_s(services) * packs
    used = assessing.own + assessing.database
    is_reached = assessing.wall * MILLION / packs <= MOST_S
    print(
        f"scipy.stats.theilslopes alone: {slope:.1f} s for the same series (from "
        f"{SAMPLE}); the whole assessment takes {used / slope:.2f} times that"
    )
    print(
        f"a million packs assessed within {MOST_S / 60:.0f} minutes: "
        f"{'reached' if is_reached else 'not reached'}"
    )
    return is_reached


def _watch_database(services: Services) -> None:
    if not services.store.is_sqlite:
        known = services.settings.data_folder / "pg" / "postmaster.pid"
        _postmaster.append(int(known.read_text().split()[0]))


def main() -> int:
    """Measure and print."""
    if os.environ.get(THREADS) != "1":
        # A linear algebra library with more threads than cores spins.
        again = [sys.executable, "-m", "tests.benchmarks.night", *sys.argv[1:]]
        os.execve(again[0], again, {**os.environ, THREADS: "1"})  # noqa: S606  # itself
    parser = arguments(__doc__, PACKS)
    parser.add_argument("--every-days", type=int, default=WEEK_DAYS)
    asked = parser.parse_args()
    wanted = Wanted(
        engine=asked.engine,
        packs=asked.packs,
        folder=asked.folder,
        has_days=True,
        every_days=asked.every_days,
    )
    return int(not asyncio.run(measure(wanted)))


if __name__ == "__main__":
    sys.exit(main())
