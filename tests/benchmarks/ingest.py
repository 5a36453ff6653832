"""Measure how many reports a second a collector makes durable.

    python -m tests.benchmarks.ingest [sqlite|postgres] [--rounds 9] [--seconds 2.5]

Some eight minutes for both engines; three rounds are fewer, and one run of them differs
from the next by a tenth. Load comes from a process of its own on the same
machine: 64 connections kept alive, each request one report of 2 kB of one of 10,000
laptops, with its key. By turns, in rounds, it goes to

- a bare aiohttp handler that reads the body,
- the same with validation (the same TypeAdapter) and the look-up of the key,
- the collector, nothing working beside intake; then with filing and assessing beside,
- the collector that has not met these laptops yet and must look their keys up,
- the collector with a transaction for each report,

and at half the load that it bore once more to the collector, for the times of answers.
"Loop" and "other" are what the collector's own process took for a report, its event
loop and other threads; "behind" is the process that files and assesses.
"""

import argparse
import asyncio
import contextlib
import json
import os
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import insert, text

from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.search import refresh_terms
from fadewatch_collector.store.store import open_store, sqlite_url
from fadewatch_collector.store.tables import agent_keys, laptops
from fadewatch_collector.usecases.bearer import digest_of
from tests.benchmarks.ingest_reports import LAPTOPS, key_of, laptop_of
from tests.integration.postgres import running_postgres
from tests.processes import BACKGROUND, WRITER, children_of, free_port

YARDSTICKS = {"sqlite": 0.60, "postgres": 0.55}
"""Least share of the validated handler's speed."""
P99_MS = 50.0
WARM_S = 8.0
"""Long enough for every laptop to have reported once [s]."""
START_S = 60.0
REST_S, QUIET_S = 300.0, 6.0
"""How long to wait for rest, and how long a rest is: longer than any pause of the work
behind intake [s]."""

WAYS = {
    "alone": ["--no-filing"],
    "beside": [],
    "single": ["--no-filing", "--single"],
}
"""How the collector runs: what of it works beside intake, and its commits."""

HEAD = f"{'':28} {'/s':>9} {'ratio':>6} {'p50 ms':>8} {'p99 ms':>8} {'loop us':>9} {'other us':>9} {'behind us':>9}"


@dataclass(frozen=True, slots=True)
class Server:
    """A server that runs for the whole benchmark."""

    name: str
    port: int
    process: subprocess.Popen[bytes]


@dataclass(frozen=True, slots=True)
class Measured:
    """One run of the load against one server."""

    per_second: float
    p50_ms: float
    p99_ms: float
    loop_us: float
    others_us: float
    behind_us: float
    odd: dict[str, int]


@contextlib.contextmanager
def running(name: str, arguments: list[str], **environment: str) -> Iterator[Server]:
    """Run a server of ``ingest_servers`` until the block ends."""
    port = free_port()
    if arguments[0] != "collector":
        arguments = [*arguments, str(port)]
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.ingest_servers", *arguments],
        env=os.environ | environment | {"FADEWATCH_PORT": str(port)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        wait_for(port, process)
        settle(process.pid)
        yield Server(name, port, process)
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()


def wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    """Wait until something answers."""
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline and process.poll() is None:
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=2)
        except urllib.error.HTTPError:
            return
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise SystemExit("a server did not start")


async def fill(url: str) -> None:
    """Make the schema, and enrol every laptop."""
    store = open_store(url)
    await upgrade(store)
    # Laptops enrolled long ago would be silent, and the nightly rounds busy with it.
    numbers, now = range(1, LAPTOPS + 1), datetime.now(UTC)
    async with store.writing() as connection:
        for first in range(0, LAPTOPS, 1000):
            part = numbers[first : first + 1000]
            told = [laptop_of(n) for n in part]
            await connection.execute(
                insert(laptops),
                [
                    {
                        "enrolled_at": now,
                        "hostname": laptop.hostname,
                        "maker": laptop.maker,
                        "model": laptop.model,
                        "serial": laptop.serial,
                        "board_uuid": laptop.board_uuid,
                    }
                    for laptop in told
                ],
            )
            await connection.execute(
                insert(agent_keys),
                [
                    {
                        "laptop_id": n,
                        "digest": digest_of(key_of(n)),
                        "created_at": now,
                    }
                    for n in part
                ],
            )
            await refresh_terms(connection, part)
        if not store.is_sqlite:
            said = await connection.scalar(text("SHOW fsync"))
            assert said == "on", "PostgreSQL must write through to the disk"
    await store.close()


def settle(pid: int) -> None:
    """Wait until the rounds that a collector makes when it starts are over."""
    deadline = time.monotonic() + START_S
    spent = sum(times(pid))
    while time.monotonic() < deadline:
        time.sleep(0.5)
        before, spent = spent, sum(times(pid))
        if spent - before < 0.05:
            return


def rest(servers: dict[str, Server]) -> None:
    """Wait until what was taken in is filed and assessed, so that it disturbs nobody."""
    deadline = time.monotonic() + REST_S
    while time.monotonic() < deadline:
        before = sum(sum(times(one.process.pid)) for one in servers.values())
        time.sleep(QUIET_S)
        after = sum(sum(times(one.process.pid)) for one in servers.values())
        if after - before < 0.02 * QUIET_S * len(servers):
            return
    print("what was taken in is not all filed and assessed yet")


def times(pid: int) -> tuple[float, float, float]:
    """Return processor time of the loop, of what writes for it, of the background [s]."""
    loop, threads = thread_times(pid)
    writer, background = (
        sum(sum(thread_times(child)) for child in children_of(pid, what))
        for what in (WRITER, BACKGROUND)
    )
    return loop, threads + writer, background


def thread_times(pid: int) -> tuple[float, float]:
    """Return processor time of the main thread and of the others [s]."""
    main = others = 0.0
    for folder in Path(f"/proc/{pid}/task").iterdir():
        spent = int((folder / "schedstat").read_text().split()[0]) / 1e9
        if folder.name == str(pid):
            main += spent
        else:
            others += spent
    return main, others


def measure(server: Server, seconds: float, rate: float, seed: int) -> Measured:
    """Run the load once."""
    command = [sys.executable, "-m", "tests.benchmarks.ingest_load"]
    before = times(server.process.pid)
    done = subprocess.run(
        [*command, str(server.port), str(seconds), str(rate), str(seed)],
        capture_output=True,
        text=True,
        check=True,
    )
    after = times(server.process.pid)
    told: dict[str, Any] = json.loads(done.stdout)
    statuses: dict[str, int] = told["statuses"]
    answered = told["answered"]
    return Measured(
        told["per_second"],
        told["p50_ms"],
        told["p99_ms"],
        (after[0] - before[0]) / answered * 1e6,
        (after[1] - before[1]) / answered * 1e6,
        (after[2] - before[2]) / answered * 1e6,
        {name: n for name, n in statuses.items() if name != "200"},
    )


@contextlib.contextmanager
def stores(engine: str, folder: Path) -> Iterator[Iterator[tuple[str, dict[str, str]]]]:
    """Make a store for each way to run a collector, as copies of one filled once."""
    filled = folder / "filled.sqlite3"
    with contextlib.ExitStack() as stack:
        if engine == "postgres":
            server = stack.enter_context(running_postgres(durable=True))
            first = asyncio.run(server.empty_database())
            asyncio.run(fill(first))
        else:
            folder.mkdir()
            asyncio.run(fill(sqlite_url(filled)))

        def copies() -> Iterator[tuple[str, dict[str, str]]]:
            for way in WAYS:
                data = folder / way
                data.mkdir(parents=True)
                place = {"FADEWATCH_DATA_FOLDER": str(data)}
                if engine == "postgres":
                    place["FADEWATCH_DATABASE_URL"] = asyncio.run(server.copy(first))
                else:
                    shutil.copy(filled, data / "fadewatch.sqlite3")
                yield way, place

        yield copies()


@contextlib.contextmanager
def all_servers(engines: list[str]) -> Iterator[dict[str, Server]]:
    """Run every server that is measured, each collector on a store of its own."""
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        servers = {
            name: stack.enter_context(running(name, [name]))
            for name in ("bare", "validated")
        }
        for engine in engines:
            for way, place in stack.enter_context(stores(engine, folder / engine)):
                name = f"{engine} {way}"
                servers[name] = stack.enter_context(
                    running(name, ["collector", *WAYS[way]], **place)
                )
        yield servers


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("engine", nargs="?", choices=tuple(YARDSTICKS))
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--seconds", type=float, default=2.5)
    asked = parser.parse_args()
    # Told to stop, it ends the servers that it has started.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    engines = [asked.engine] if asked.engine else list(YARDSTICKS)
    in_turns = ["bare", "validated", *(f"{engine} alone" for engine in engines)]
    found: dict[str, list[Measured]] = {name: [] for name in in_turns}
    print(f"load of the machine: {Path('/proc/loadavg').read_text().strip()}")
    with all_servers(engines) as servers:
        strange = met(servers, engines, asked.seconds)
        for round_number in range(asked.rounds):
            for name in in_turns:
                found[name].append(
                    measure(servers[name], asked.seconds, 0, round_number)
                )
        print(HEAD)
        yardstick = median_of(found["validated"])
        for name in in_turns:
            show(name, found[name], yardstick)
        for name, one in strange.items():
            show(f"{name}, unknown keys", [one], yardstick)
        for engine in engines:
            for way in ("beside", "single"):
                name = f"{engine} {way}"
                one = measure(servers[name], asked.seconds, 0, 0)
                show(name, [one], yardstick)
                rest(servers)
        for engine in engines:
            alone = f"{engine} alone"
            rate = median_of(found[alone]) / 2
            for way in ("alone", "beside"):
                name = f"{engine} {way}"
                one = measure(servers[name], 2 * asked.seconds, rate, 99)
                rest(servers)
                show(f"{name}, half load", [one], yardstick)
                if way == "alone":
                    judge(engine, found, one)
    print(f"load of the machine: {Path('/proc/loadavg').read_text().strip()}")


def met(
    servers: dict[str, Server], engines: list[str], seconds: float
) -> dict[str, Measured]:
    """Let the collectors meet every laptop, and measure how they begin with it."""
    names = [f"{engine} alone" for engine in engines]
    strange = {name: measure(servers[name], seconds, 0, 0) for name in names}
    for name in (*names, *(f"{engine} beside" for engine in engines)):
        measure(servers[name], WARM_S, 0, 0)
    rest(servers)
    return strange


def median_of(runs: list[Measured]) -> float:
    """Return the median speed [1/s]."""
    return statistics.median(run.per_second for run in runs)


def show(name: str, runs: list[Measured], yardstick: float) -> None:
    """Print one line of the table."""
    speed = median_of(runs)
    middle = {
        field: statistics.median(getattr(run, field) for run in runs)
        for field in ("p50_ms", "p99_ms", "loop_us", "others_us", "behind_us")
    }
    odd = {key: n for run in runs for key, n in run.odd.items()}
    print(
        f"{name:28} {speed:9,.0f} {speed / yardstick:6.2f} {middle['p50_ms']:8.1f}"
        f" {middle['p99_ms']:8.1f} {middle['loop_us']:9.0f} {middle['others_us']:9.0f}"
        f" {middle['behind_us']:9.0f}"
        f"  {odd or ''}",
        flush=True,
    )


def judge(engine: str, found: dict[str, list[Measured]], half: Measured) -> None:
    """Say whether the yardsticks are reached."""
    ratios = [
        ours.per_second / theirs.per_second
        for ours, theirs in zip(
            found[f"{engine} alone"], found["validated"], strict=True
        )
    ]
    ratio = statistics.median(ratios)
    for what, value, good in (
        (f"{YARDSTICKS[engine]:.2f} of validated", ratio, ratio >= YARDSTICKS[engine]),
        (f"p99 under {P99_MS:.0f} ms", half.p99_ms, half.p99_ms < P99_MS),
    ):
        said = "reached" if good else "NOT reached"
        print(f"  {engine}: {what}: {value:.2f}, {said}")


if __name__ == "__main__":
    main()
