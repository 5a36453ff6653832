"""Run a real collector of 20,000 laptops for an hour at a tenth of what it can take in.

    python -m tests.benchmarks.soak [sqlite|postgres] [--minutes 60] [--rate N]

Measures the ceiling for 15 s first, lets the collector file what came, then sends one
report a request at an even rate, asks the API as a program of the organisation would,
and samples the resident memory of the collector's processes. The laptops are so many
that within the hour a history grows by days and a day has no more readings than in
service: both take memory, and rightly. The first sixth of the time is warm-up. Reached
when the median memory of the last quarter of the rest lies within 5 % of that of the
first quarter, no answer was an error, and everything answered is in the store once. Takes the minutes asked for and about two more.
"""

import argparse
import asyncio
import os
import secrets
import statistics
import sys
import tempfile
import time
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path

import aiohttp

from fadewatch_common.report import Laptop, Pack
from tests.benchmarks.million_fleet import key_of
from tests.benchmarks.million_laptops import filled_store
from tests.faults.ledger import kept_by
from tests.faults.senders import Senders
from tests.processes import CollectorProcess, children_of, new_collector
from tests.reports import LAPTOP

LAPTOPS = 20_000
CEILING_S = 15.0
SHARE = 0.1
SAMPLE_S = 5.0
ASK_S = 10.0
FLAT = 0.05
WARM_UP = 1 / 6
ASKED = ("/api/v1/alerts?limit=50", "/api/v1/laptops?limit=50", "/api/v1/swaps")
_TICK_S = 0.1


def resident_kib(process: int) -> int:
    """Return the memory that a process holds [KiB]."""
    told = Path(f"/proc/{process}/status").read_text()
    return int(told.partition("VmRSS:")[2].split()[0])


@dataclass(slots=True)
class Watched:
    """What was seen of the collector from outside."""

    process: int
    began: float = field(default_factory=time.monotonic)
    memory: list[tuple[float, int]] = field(default_factory=list)
    load: list[float] = field(default_factory=list)
    asked: int = 0
    errors: list[str] = field(default_factory=list)

    def sample(self) -> None:
        """Take down the resident memory [KiB] and the load of the machine."""
        seconds = time.monotonic() - self.began
        both = (self.process, *children_of(self.process))
        self.memory.append((seconds, sum(map(resident_kib, both))))
        self.load.append(os.getloadavg()[0])

    def quarters(self) -> list[float]:
        """Return the median memory [MiB] of each quarter after the warm-up."""
        seconds = self.memory[-1][0]
        first = seconds * WARM_UP
        length = (seconds - first) / 4
        parts: list[list[int]] = [[], [], [], []]
        for at, kib in self.memory:
            if at >= first:
                parts[min(3, int((at - first) / length))].append(kib)
        return [statistics.median(part) / 1024 for part in parts]


class FleetSenders(Senders):
    """Laptops that the store knows from the start, with their keys and packs."""

    def __init__(self, collector: CollectorProcess) -> None:
        super().__init__(collector)
        self.keys = [key_of(number + 1) for number in range(LAPTOPS)]

    @staticmethod
    def _laptop(number: int) -> Laptop:
        mark = f"{number + 1:07}"
        return replace(
            LAPTOP,
            hostname=f"tern-{mark}.desks.example",
            serial=f"BM-{mark}",
            board_uuid=f"6f1d3a52-8a3e-4f0a-9c11-00000{mark}",
        )

    def _pack(self, laptop: int, turn: int) -> Pack:
        pack = super()._pack(laptop, turn)
        return replace(pack, serial=f"7{laptop + 1:07}", chemistry="Li-poly")


async def soak(
    collector: CollectorProcess,
    process: int,
    asked: argparse.Namespace,
    store: Path | str,
) -> bool:
    """Run it; print what was seen and say whether it held."""
    senders = FleetSenders(collector)
    token = _token(collector)
    timeout = aiohttp.ClientTimeout(total=60)
    async with aiohttp.ClientSession(timeout=timeout) as session:
        ceiling = await senders.as_fast_as_it_goes(session, CEILING_S)
        rate = asked.rate or ceiling * SHARE
        print(
            f"ceiling {ceiling:,.0f}/s over {CEILING_S:.0f} s; going on at {rate:,.1f}/s"
        )
        await _until_filed(store)
        watched = Watched(process)
        await asyncio.gather(
            _evenly(senders, session, rate, asked.minutes * 60),
            _look(watched, asked.minutes * 60),
            _ask(watched, collector, session, token, asked.minutes * 60),
        )
        await _until_filed(store)
    return await asyncio.to_thread(_verdict, senders, watched, store)


def _token(collector: CollectorProcess) -> str:
    """Let a program in that reads as a viewer may."""
    words = collector.folder.parent / "password"
    words.write_text(secrets.token_hex(16))
    told = ("--role", "viewer", "--password-file", str(words))
    collector.command("user", "add", "soak", *told)
    return collector.command("user", "api-token", "new", "soak", "--label", "soak")


async def _until_filed(store: Path | str) -> None:
    until = time.monotonic() + 120
    while (await asyncio.to_thread(kept_by, store)).waiting:
        if time.monotonic() > until:
            print("not all was filed within 120 s")
            return
        await asyncio.sleep(1)


async def _evenly(
    senders: Senders, session: aiohttp.ClientSession, rate: float, seconds: float
) -> None:
    """Send at an even rate, whether or not answers are slow to come."""
    loop, reports, sent = asyncio.get_running_loop(), senders.reports(), 0
    began, under_way = loop.time(), set[asyncio.Task[bool]]()
    while (passed := loop.time() - began) < seconds:
        while sent < rate * passed:
            task = asyncio.create_task(senders.post(session, *next(reports)))
            under_way.add(task)
            task.add_done_callback(under_way.discard)
            sent += 1
        await asyncio.sleep(_TICK_S)
    await asyncio.gather(*under_way)


async def _look(watched: Watched, seconds: float) -> None:
    while time.monotonic() - watched.began < seconds:
        watched.sample()
        if len(watched.memory) % 60 == 0:
            at, kib = watched.memory[-1]
            print(f"{at / 60:5.1f} min  {kib / 1024:6.1f} MiB", flush=True)
        await asyncio.sleep(SAMPLE_S)


async def _ask(
    watched: Watched,
    collector: CollectorProcess,
    session: aiohttp.ClientSession,
    token: str,
    seconds: float,
) -> None:
    while time.monotonic() - watched.began < seconds:
        for path in ASKED:
            watched.asked += 1
            try:
                async with session.get(
                    collector.url + path, headers={"Authorization": f"Bearer {token}"}
                ) as answer:
                    await answer.read()
                    if answer.status != 200:
                        watched.errors.append(f"{path}: {answer.status}")
            except (aiohttp.ClientError, OSError, TimeoutError) as error:
                watched.errors.append(f"{path}: {type(error).__name__}")
        await asyncio.sleep(ASK_S)


def _verdict(senders: Senders, watched: Watched, store: Path | str) -> bool:
    ledger, kept = senders.ledger, kept_by(store)
    quarters = watched.quarters()
    grown = quarters[-1] / quarters[0] - 1
    errors = senders.faults + watched.errors
    lost = ledger.problems(kept)
    rows = (
        (
            "memory, last quarter against first",
            f"{grown:+.1%} ({', '.join(f'{q:.1f}' for q in quarters)} MiB)",
            f"within {FLAT:.0%}",
            abs(grown) <= FLAT,
        ),
        (
            "errors",
            f"{len(errors)} in {len(ledger.sent):,} reports and {watched.asked:,} questions",
            "none",
            not errors,
        ),
        (
            "answered and kept",
            f"{len(ledger.answered):,} and {len(set(kept.reports)):,}",
            "the same, each once",
            not lost and ledger.answered == set(kept.reports),
        ),
        (
            "filed",
            f"{kept.readings:,} readings, {kept.waiting:,} reports waiting",
            "all",
            kept.readings == len(kept.reports),
        ),
    )
    for name, figure, yardstick, held in rows:
        print(f"{name}: {figure}; {yardstick}: {'reached' if held else 'NOT REACHED'}")
    for line in (errors + lost)[:10]:
        print(f"  {line}")
    print(f"load of the machine, median: {statistics.median(watched.load):.1f}")
    return all(held for *_, held in rows)


def main() -> int:
    """Run and judge."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.soak")
    parser.add_argument(
        "database", nargs="?", choices=("sqlite", "postgres"), default="sqlite"
    )
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--rate", type=float, help="reports a second")
    asked = parser.parse_args()
    with (
        tempfile.TemporaryDirectory(prefix="fadewatch-soak-") as name,
        ExitStack() as stack,
    ):
        collector = new_collector(Path(name))
        address = stack.enter_context(
            filled_store(asked.database, collector.folder, LAPTOPS)
        )
        if address:
            os.environ["FADEWATCH_DATABASE_URL"] = address
        store = address or collector.folder / "fadewatch.sqlite3"
        with collector.running() as process:
            held = asyncio.run(soak(collector, process.pid, asked, store))
        log = Path(name) / "collector.log"
        if log.read_text():
            print("the collector's log:", log.read_text()[-2000:])
    print("reached" if held else "NOT REACHED")
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
