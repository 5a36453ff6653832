"""Measure the fleet CSV against a plain SELECT written by csv.writer, in one run.

    python -m tests.benchmarks.csv_export [sqlite|postgres] [--packs 100000] [--rounds 3]

By the command (`export fleet`) and over HTTP from a running collector, on the same store.
The plain SELECT asks for the same columns in the same order, by the driver alone, in a
process of its own; on PostgreSQL through a cursor. Peak memory is the exporting process's.
A million packs take about 10 minutes on an idle machine, filling the store included.
"""

import argparse
import asyncio
import csv
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.request import Request, urlopen

import asyncpg
from sqlalchemy.dialects import postgresql, sqlite

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.fleet import fleet_query
from fadewatch_collector.store.values import set_value
from fadewatch_collector.usecases.accounts import add_operator
from fadewatch_collector.usecases.api_tokens import make_api_token
from fadewatch_collector.usecases.exports import FLEET_SOURCES
from fadewatch_collector.usecases.rounds import ROUNDS, round_value
from fadewatch_collector.usecases.services import Services, open_services
from tests.benchmarks.big_store import Wanted, arguments, store_address
from tests.processes import free_port

PACKS = 100_000
MOST_RATIO = 2.0
MOST_MIB = 200.0
ROWS = 2_000
"""Rows that the plain SELECT fetches at a time on PostgreSQL [count]."""
READ_BYTES = 1 << 20
START_S = 60.0
LOOK_S = 0.05
"""Pause between two looks at a process's memory [s]."""
PLAIN = "--plain"
NAME, PASSWORD = "bench", "three boats on a lake"


@dataclass(frozen=True, slots=True)
class Run:
    """What one way took [s], and the peak memory of the process that did it [MiB]."""

    seconds: float
    peak_mib: float


def write_plainly(settings: Settings, out: Path) -> None:
    """Run the same SELECT through the driver and csv.writer alone."""
    if settings.database_url is None:
        path = settings.store_url.removeprefix("sqlite:///")
        with closing(sqlite3.connect(path)) as db, out.open("w", newline="") as file:
            csv.writer(file).writerows(db.execute(plain_query(is_sqlite=True)))
    else:
        asyncio.run(_write_by_cursor(settings.store_url, out))


async def _write_by_cursor(url: str, out: Path) -> None:
    connection = await asyncpg.connect(url)
    try:
        async with connection.transaction():
            cursor = await connection.cursor(plain_query(is_sqlite=False))
            with out.open("w", newline="") as file:
                writer = csv.writer(file)
                while rows := await cursor.fetch(ROWS):
                    writer.writerows(rows)
    finally:
        await connection.close()


def plain_query(*, is_sqlite: bool) -> str:
    """Return the fleet's SELECT as one text."""
    dialect = sqlite.dialect() if is_sqlite else postgresql.dialect()  # type: ignore[no-untyped-call]  # SQLAlchemy's
    query = fleet_query(FLEET_SOURCES, is_sqlite=is_sqlite)
    return str(query.compile(dialect=dialect, compile_kwargs={"literal_binds": True}))


def run(command: list[str], environment: Mapping[str, str]) -> Run:
    """Run a command to its end; one that prints its own time is believed."""
    started = time.perf_counter()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE)
    peak = 0.0
    # Not what the system tells afterwards: that counts this process, whose copy the new
    # one is until it becomes what it runs.
    while process.poll() is None:
        peak = max(peak, _peak_mib(process.pid))
        time.sleep(LOOK_S)
    took = time.perf_counter() - started
    printed, _ = process.communicate()
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command)
    return Run(float(printed) if printed else took, peak)


@contextmanager
def serving(environment: Mapping[str, str]) -> Iterator[tuple[str, int]]:
    """Run a collector; gives its address and the number of its process."""
    port = free_port()
    command = [sys.executable, "-m", "fadewatch_collector", "serve"]
    process = subprocess.Popen(
        command,
        env={**environment, "FADEWATCH_PORT": str(port)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        url = f"http://127.0.0.1:{port}"
        _wait_for(url)
        yield url, process.pid
    finally:
        process.terminate()
        process.wait()


def _wait_for(url: str) -> None:
    until = time.monotonic() + START_S
    while True:
        try:
            with urlopen(f"{url}/healthz") as answer:  # noqa: S310  # our own address
                answer.read()
                return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.2)


def fetch(url: str, token: str, out: Path, number: int) -> Run:
    """Fetch the fleet CSV from a running collector."""
    request = Request(  # noqa: S310  # our own address
        f"{url}/api/v1/exports/fleet.csv", headers={"Authorization": f"Bearer {token}"}
    )
    started = time.perf_counter()
    with urlopen(request) as answer, out.open("wb") as file:  # noqa: S310  # as above
        while piece := answer.read(READ_BYTES):
            file.write(piece)
    return Run(time.perf_counter() - started, _peak_mib(number))


def _peak_mib(number: int) -> float:
    """Return the peak memory of a process so far [MiB]; 0 once it has ended."""
    for line in Path(f"/proc/{number}/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1]) / 1024
    return 0.0


async def _let_in(settings: Settings) -> str:
    """Make a program's token, and let the clock think that its rounds are done."""
    services: Services = open_services(settings)
    name = f"{NAME}-{os.getpid()}"
    await add_operator(services, name, "viewer", PASSWORD)
    token = await make_api_token(services, name, "benchmark", 1)
    async with services.store.writing() as connection:
        for work in ROUNDS:
            now = services.clock().isoformat()
            await set_value(connection, round_value(work), now)
    await services.store.close()
    return token


def measure(settings: Settings, engine: str, packs: int, rounds: int) -> bool:
    """Print the table; returns whether both ways are fast and small enough."""
    environment = {**os.environ, "FADEWATCH_DATA_FOLDER": str(settings.data_folder)}
    environment |= {"FADEWATCH_LOG_LEVEL": "WARNING"}
    if settings.database_url is not None:
        environment["FADEWATCH_DATABASE_URL"] = settings.store_url
    token = asyncio.run(_let_in(settings))
    with tempfile.TemporaryDirectory() as name, serving(environment) as (url, number):
        out = Path(name) / "fleet.csv"
        plainly = [sys.executable, "-m", __spec__.name, PLAIN, str(out)]
        command = [sys.executable, "-m", "fadewatch_collector", "export", "fleet"]
        runs: dict[str, list[Run]] = {"plain": [], "command": [], "HTTP": []}
        beginning = [*command[:-1], "fleet-shares", "--out", str(out)]
        start = min(run(beginning, environment).seconds for _ in range(rounds))
        for _ in range(rounds):
            runs["plain"].append(run(plainly, environment))
            whole = run([*command, "--out", str(out)], environment)
            runs["command"].append(Run(whole.seconds - start, whole.peak_mib))
            runs["HTTP"].append(fetch(url, token, out, number))
        size = out.stat().st_size
    print(
        f"{packs:,} packs on {engine}, {size / 1e6:.0f} MB, best of {rounds}, "
        f"load {os.getloadavg()[0]:.1f}"
    )
    print(f"the command's start takes {start:.1f} s, left out below")
    plain = min(one.seconds for one in runs["plain"])
    is_good = True
    for what, found in runs.items():
        best, peak = min(one.seconds for one in found), max(r.peak_mib for r in found)
        ratio = best / plain
        is_good &= what == "plain" or (ratio <= MOST_RATIO and peak <= MOST_MIB)
        print(
            f"{what:10}{best:9.1f} s{packs / best:11,.0f} rows/s"
            f"{ratio:7.2f} x{peak:9.0f} MiB"
        )
    print(
        f"at most {MOST_RATIO:.0f} x the plain SELECT and {MOST_MIB:.0f} MiB: "
        f"{'reached' if is_good else 'not reached'}"
    )
    return is_good


def main() -> int:
    """Measure and print."""
    if sys.argv[1:2] == [PLAIN]:
        # The time of the work alone; the command's is taken with its start.
        started = time.perf_counter()
        write_plainly(Settings(), Path(sys.argv[2]))
        print(time.perf_counter() - started)
        return 0
    parser: argparse.ArgumentParser = arguments(__doc__, PACKS)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    wanted = Wanted(engine=asked.engine, packs=asked.packs, folder=asked.folder)
    with store_address(wanted) as settings:
        is_good = measure(settings, asked.engine, asked.packs, asked.rounds)
    return int(not is_good)


if __name__ == "__main__":
    sys.exit(main())
