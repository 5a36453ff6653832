"""Two collectors on one PostgreSQL under load, of which one is killed."""

import asyncio
import itertools
import re
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import aiohttp
from sqlalchemy import text
from sqlalchemy.ext.asyncio import AsyncEngine, create_async_engine

from fadewatch_common.report import Pack
from tests.faults.ledger import Ledger
from tests.faults.senders import Senders
from tests.processes import (
    CollectorProcess,
    children_of,
    kill_all,
    new_collector,
    signal_all,
)

MOVES_WITHIN_S = 30.0
DRAINED_S = 300.0

_QUERIES = {
    "stored": "SELECT count(*) FROM reports",
    "readings": "SELECT count(*) FROM readings",
    "readings of different reports": "SELECT count(DISTINCT report_id) FROM readings",
    "waiting to be filed": "SELECT count(*) FROM filing_queue",
    "waiting to be assessed": "SELECT count(*) FROM assessment_queue",
    "unreadable": "SELECT count(*) FROM unreadable_reports",
    "laptops": "SELECT count(*) FROM laptops",
    "packs": "SELECT count(*) FROM packs",
    "stays": "SELECT count(*) FROM slot_stays",
    "assessments": "SELECT count(*) FROM assessments",
    "alerts opened": "SELECT count(*) FROM alerts",
    "alerts of different matters": (
        "SELECT count(*) FROM (SELECT DISTINCT subject, kind FROM alerts) AS matters"
    ),
    "urgent alerts": "SELECT count(*) FROM alerts WHERE urgency IN ('act', 'stop-use')",
    "messages written": "SELECT count(*) FROM outbox WHERE what <> 'item'",
    "messages sent": "SELECT count(*) FROM outbox WHERE sent_at IS NOT NULL",
    "rounds": "SELECT count(*) FROM store_values WHERE name LIKE 'round:%'",
}
_CLOCK_HOLDER = """
    SELECT activity.application_name FROM pg_locks AS held
    JOIN pg_stat_activity AS activity USING (pid)
    WHERE held.locktype = 'advisory' AND held.objid = 1178682437
    AND held.granted AND held.objsubid = 1 AND held.database =
    (SELECT oid FROM pg_database WHERE datname = current_database())
"""


_ROUND = re.compile(r"round (\S+) went over")


class ManyWays(Senders):
    """Senders that go to another collector with each report."""

    def __init__(self, collectors: list[CollectorProcess], seed: int = 1) -> None:
        super().__init__(collectors[0], seed)
        self._turns = itertools.cycle(collectors)

    def _pack(self, laptop: int, turn: int) -> Pack:
        # Every fourth pack is so worn that somebody is told at once.
        pack = super()._pack(laptop, turn)
        return pack if laptop % 4 else replace(pack, full_charge_capacity=31_000)

    async def post(
        self, session: aiohttp.ClientSession, key: str, report: dict[str, object]
    ) -> bool:
        """Send until some collector has answered, as an agent's spool does."""
        while True:
            self.collector = next(self._turns)
            if await super().post(session, key, report):
                return True
            await asyncio.sleep(0.02)

    async def send(
        self, session: aiohttp.ClientSession, count: int, connections: int = 16
    ) -> None:
        """Send so many reports as fast as they are answered."""
        left = itertools.islice(self.reports(), count)

        async def one() -> None:
            for key, report in left:
                await self.post(session, key, report)

        await asyncio.gather(*(one() for _ in range(connections)))


@dataclass(slots=True)
class Pair:
    """Two collectors, their processes, and the database between them."""

    collectors: list[CollectorProcess]
    engine: AsyncEngine
    processes: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def start(self) -> None:
        """Start both."""
        self.processes = [collector.start() for collector in self.collectors]

    async def counts(self) -> dict[str, int]:
        """Count what the database holds."""
        async with self.engine.connect() as connection:
            return {
                name: int((await connection.execute(text(query))).scalar_one())
                for name, query in _QUERIES.items()
            }

    async def clock_holder(self) -> int | None:
        """Return which of the two runs the clock; None while nobody does."""
        async with self.engine.connect() as connection:
            name = await connection.scalar(text(_CLOCK_HOLDER))
        pid = str(name or "").rpartition(" ")[2]
        for number, process in enumerate(self.processes):
            if pid in map(str, children_of(process.pid)):
                return number
        return None

    async def until_clock(self, wanted: set[int], within_s: float) -> float:
        """Wait until one of these holds the clock; returns how long it took [s]."""
        began = time.monotonic()
        while await self.clock_holder() not in wanted:
            took = time.monotonic() - began
            assert took < within_s, f"nobody took the clock within {within_s} s"
            await asyncio.sleep(0.1)
        return time.monotonic() - began

    async def until_drained(self) -> float:
        """Wait until nothing waits in any queue; returns how long it took [s]."""
        began = time.monotonic()
        while True:
            now = await self.counts()
            waits = (
                now["waiting to be filed"],
                now["waiting to be assessed"],
                now["messages written"] - now["messages sent"],
            )
            if not any(waits):
                return time.monotonic() - began
            took = time.monotonic() - began
            assert took < DRAINED_S, f"still waiting: {waits}"
            await asyncio.sleep(0.2)

    def kill(self, number: int) -> None:
        """End a collector as a power cut does."""
        kill_all(self.processes[number])

    def freeze(self, number: int) -> None:
        """Stop a collector so that its connections stay open and silent."""
        signal_all(self.processes[number], signal.SIGSTOP)

    def thaw(self, number: int) -> None:
        """Let a collector go on."""
        signal_all(self.processes[number], signal.SIGCONT)

    def rounds_done(self) -> Counter[str]:
        """Count the rounds that both have written to their logs as done."""
        return Counter(
            name
            for collector in self.collectors
            for name in _ROUND.findall(_log(collector).read_text())
        )


def _log(collector: CollectorProcess) -> Path:
    return collector.folder.parent / "collector.log"


@contextmanager
def two_collectors(folder: Path, address: str, **more: str) -> Iterator[Pair]:
    """Prepare two collectors on one database; whatever still runs is ended after."""
    environment = {"DATABASE_URL": address, "LOG_LEVEL": "INFO"} | more
    collectors = []
    for name in ("a", "b"):
        (folder / name).mkdir()
        collectors.append(new_collector(folder / name, environment))
    engine = create_async_engine(address.replace("postgresql", "postgresql+asyncpg", 1))
    pair = Pair(collectors, engine)
    try:
        yield pair
    finally:
        for process in pair.processes:
            if process.poll() is None:
                signal_all(process, signal.SIGCONT)
                process.terminate()
        for process in pair.processes:
            process.wait(30)


def differences(counts: dict[str, int], ledger: Ledger, laptops: int) -> list[str]:
    """Say where the store is not what the answers promised; nothing is right.

    Every report is of one pack, and every laptop has one pack of its own.
    """
    expected: dict[str, Any] = {
        "stored": len(ledger.answered),
        "readings": len(ledger.answered),
        "readings of different reports": len(ledger.answered),
        "waiting to be filed": 0,
        "waiting to be assessed": 0,
        "unreadable": 0,
        "laptops": laptops,
        "packs": laptops,
        "stays": laptops,
        "assessments": laptops,
        "alerts opened": counts["alerts of different matters"],
        "messages written": counts["urgent alerts"],
        "messages sent": counts["urgent alerts"],
    }
    found = [
        f"{name}: {counts[name]} instead of {wanted}"
        for name, wanted in expected.items()
        if counts[name] != wanted
    ]
    if ledger.sent != ledger.answered:
        found.append(f"{len(ledger.sent - ledger.answered)} sent and never answered")
    if ledger.refused:
        found.append(f"refused: {ledger.refused}")
    return found
