"""kill -9 of agents and of the collector at random moments, round after round.

    python -m tests.faults.kill_rounds --rounds 200 [sqlite|postgres] [--seed 1]

Each round starts two to four agents, kills each with one chance in two, the collector
with three in ten and as often only the process behind it or, on SQLite, only the one that
writes reports, at moments of their own. After every round, whatever was ever seen in a queue or on the wire must be in a
queue or in the store, and no queue may be damaged; in the end every agent delivers, and
the store holds each report once, filed, of as many laptops as there are. 200 rounds take
about a quarter of an hour.
"""

import argparse
import asyncio
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.agents import AgentProcess, new_agent
from tests.faults.ledger import Kept, kept_by
from tests.faults.wire import Wire, wire_to
from tests.integration.postgres import running_postgres
from tests.processes import (
    BACKGROUND,
    WRITER,
    CollectorProcess,
    children_of,
    new_collector,
)

AGENTS = 4
LATEST = 1.5
"""Latest moment of a kill, in terms of how long a whole run takes here and now."""
AGENT_DIES, COLLECTOR_DIES = 0.5, 0.3
CHILD_DIES = {BACKGROUND: 0.3, WRITER: 0.3}
Process = subprocess.Popen[bytes] | subprocess.Popen[str]
FILED_S = 120.0
"""A process that was killed again and again comes back after a minute at most [s]."""
START_S = 240.0
"""Longest wait for a collector to come up beside other work [s]."""


@dataclass
class Rig:
    """A collector, agents, the wire between them, and what has been seen."""

    collector: CollectorProcess
    store: Path | str
    wire: Wire
    agents: list[AgentProcess]
    chance: random.Random
    process: subprocess.Popen[bytes]
    run_s: float = 1.0
    seen: set[str] = field(default_factory=set)
    counts: Counter[str] = field(default_factory=Counter)

    def measure(self) -> None:
        """Take the time of a whole run of an agent that is known already."""
        for _ in range(2):
            began = time.monotonic()
            code, said = self.agents[0].run("--patience=30")
            assert code == 0, said
            self.run_s = time.monotonic() - began

    def round(self) -> None:
        """Start some agents, kill what chance says, and look at what is left."""
        at_work = self.chance.sample(self.agents, self.chance.randint(2, AGENTS))
        running = [agent.start("--patience=2") for agent in at_work]
        victims = [one for one in running if self.chance.random() < AGENT_DIES]
        plan: list[tuple[float, Process | None, str]] = [
            (self._moment(), victim, "agent") for victim in victims
        ]
        if self.chance.random() < COLLECTOR_DIES:
            plan.append((self._moment(), self.process, "collector"))
        for child, chance in CHILD_DIES.items():
            if self.chance.random() < chance:
                plan.append((self._moment(), None, child))
        began = time.monotonic()
        for moment, victim, name in sorted(plan, key=lambda one: one[0]):
            time.sleep(max(0.0, began + moment - time.monotonic()))
            if victim is None:
                self._kill_child(name)
            else:
                self._kill(victim, name)
        for one in running:
            one.communicate(timeout=240)
            self.counts[f"exit {one.returncode}"] += 1
        if self.process.poll() is not None:
            self.process = self.collector.start(START_S)
        self.look()

    def _moment(self) -> float:
        return self.chance.uniform(0, LATEST * self.run_s)

    def _kill(self, process: Process, name: str) -> None:
        if process.poll() is None:
            process.kill()
            process.wait()
            self.counts[f"{name} killed"] += 1

    def _kill_child(self, name: str) -> None:
        # None is there shortly after the last kill, and no writer before a report.
        for child in children_of(self.process.pid, name):
            os.kill(child, signal.SIGKILL)
            self.counts[f"{name} killed"] += 1

    def look(self) -> Kept:
        """Check that nothing seen so far has gone."""
        waiting = {name for agent in self.agents for name in agent.waiting()}
        kept = kept_by(self.store)
        self.seen |= waiting | self.wire.ledger.sent
        gone = self.seen - waiting - set(kept.reports)
        assert not gone, f"neither waiting nor stored: {sorted(gone)}"
        assert not any(agent.was_damaged() for agent in self.agents)
        return kept

    def finish(self) -> Kept:
        """Let everything be delivered and filed, and check the sums."""
        for agent in self.agents:
            code, said = agent.run("--patience=30")
            assert code == 0, said
            assert agent.waiting() == []
        until = time.monotonic() + FILED_S
        while (kept := self.look()).waiting:
            assert time.monotonic() < until, "not all is filed"
            time.sleep(0.2)
        ledger = self.wire.ledger
        assert ledger.problems(kept) == []
        assert set(kept.reports) == self.seen == ledger.sent == ledger.answered
        assert kept.readings == len(kept.reports) == len(self.seen)
        return kept


@contextmanager
def database(name: str, folder: Path) -> Iterator[Path | str]:
    """Give where the store is: a file, or a database of a server of its own."""
    if name == "sqlite":
        yield folder / "data" / "fadewatch.sqlite3"
        return
    with running_postgres() as server:
        address = asyncio.run(server.empty_database())
        os.environ["FADEWATCH_DATABASE_URL"] = address
        try:
            yield address
        finally:
            del os.environ["FADEWATCH_DATABASE_URL"]


def run(folder: Path, rounds: int, seed: int, name: str) -> Rig:
    """Run the rounds; an AssertionError says what was lost."""
    with database(name, folder) as store:
        collector = new_collector(folder)
        process = collector.start(START_S)
        with wire_to(collector.port) as wire:
            token = collector.command("token", "new", "--label", "t", "--uses", "100")
            agents = [new_agent(folder, n, wire.url, token) for n in range(AGENTS)]
            chance = random.Random(seed)  # noqa: S311  when to kill, no secret
            rig = Rig(collector, store, wire, agents, chance, process)
            try:
                for number in range(rounds):
                    if number % 20 == 0:
                        rig.measure()
                    rig.round()
                    if number % 20 == 19:
                        print(f"{number + 1} rounds: {dict(rig.counts)}", flush=True)
                rig.counts["reports"] = len(rig.finish().reports)
                assert laptops_of(collector) == AGENTS
            finally:
                rig.process.terminate()
                rig.process.wait(20)
    return rig


def laptops_of(collector: CollectorProcess) -> int:
    """Count the laptops that the collector knows, by its own export."""
    out = collector.folder.parent / "fleet.csv"
    collector.command("export", "fleet", "--out", str(out))
    lines = out.read_text(encoding="utf-8").splitlines()
    place = lines[0].lstrip("\ufeff").split(",").index("laptop_serial")
    return len({line.split(",")[place] for line in lines[1:]})


def main() -> int:
    """Run and print what was survived."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults.kill_rounds")
    parser.add_argument(
        "database", nargs="?", choices=("sqlite", "postgres"), default="sqlite"
    )
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="fadewatch-kill-") as name:
        rig = run(Path(name), asked.rounds, asked.seed, asked.database)
    minutes = (time.monotonic() - began) / 60
    ledger = rig.wire.ledger
    print(
        f"{asked.rounds} rounds on {asked.database} survived in {minutes:.1f} min: "
        f"{dict(rig.counts)}; {len(ledger.sent)} reports sent, {len(ledger.answered)} "
        f"answered ({len(ledger.duplicate)} of them also as duplicates), "
        f"{rig.counts['reports']} stored once each"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
