"""Two collectors on one PostgreSQL under load, killed and frozen by turns.

    python -m tests.benchmarks.two_collectors [--seconds 90] [--kills 3] [--laptops 200]

Real processes on a real server (fsync on). Laptops send to both as fast as they are
answered; by turns the collector that runs the clock is ended with kill -9, or frozen
with SIGSTOP (its connections stay open and silent, as of a machine that hangs), and is
back a little later. Prints how long the clock took to move, and holds what was sent and
answered against what the database has once everything is filed, assessed and mailed.
Takes the seconds given and about a minute more.
"""

import argparse
import asyncio
import itertools
import os
import tempfile
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import aiohttp

from tests.fakes.mail_server import mail_server
from tests.faults.two_collectors import (
    MOVES_WITHIN_S,
    ManyWays,
    Pair,
    differences,
    two_collectors,
)
from tests.integration.postgres import running_postgres

BACK_AFTER_S = 3.0
CONNECTIONS = 16


async def strike(pair: Pair, what: str) -> float:
    """Kill or freeze who runs the clock; return how long it took to move [s]."""
    victim = await pair.clock_holder()
    assert victim is not None
    if what == "kill -9":
        pair.kill(victim)
    else:
        pair.freeze(victim)
    took = await pair.until_clock({1 - victim}, MOVES_WITHIN_S)
    await asyncio.sleep(BACK_AFTER_S)
    if what == "kill -9":
        collector = pair.collectors[victim]
        pair.processes[victim] = await asyncio.to_thread(collector.start)
    else:
        pair.thaw(victim)
    return took


async def strikes(pair: Pair, asked: argparse.Namespace) -> list[tuple[str, float]]:
    """Strike again and again, spread over the time of the load."""
    found = []
    ways = itertools.cycle(("kill -9", "SIGSTOP"))
    for what in itertools.islice(ways, asked.kills):
        await asyncio.sleep(asked.seconds / (asked.kills + 1) / 2)
        found.append((what, await strike(pair, what)))
    return found


async def load(senders: ManyWays, session: aiohttp.ClientSession, until: float) -> None:
    """Send as fast as it goes until a moment."""
    reports = senders.reports()

    async def one() -> None:
        while time.monotonic() < until:
            await senders.post(session, *next(reports))

    await asyncio.gather(*(one() for _ in range(CONNECTIONS)))


async def run(asked: argparse.Namespace, address: str, folder: Path) -> bool:
    """Run it all and print; says whether everything was as it should be."""
    timeout = aiohttp.ClientTimeout(total=asked.patience)
    async with mail_server() as mail, aiohttp.ClientSession(timeout=timeout) as session:
        settings = {
            "MAIL_HOST": "127.0.0.1",
            "MAIL_PORT": str(mail.port),
            "MAIL_FROM": "packs@example.net",
            "MAIL_SECURITY": "none",
        }
        with two_collectors(folder, address, **settings) as pair:
            where = ("mail", "desk@example.org", "--label", "d", "--urgency", "act")
            # The first command brings the schema.
            await asyncio.to_thread(pair.start)
            pair.collectors[0].command("route", "add", *where)
            senders = ManyWays(pair.collectors)
            await senders.enrol(session, asked.laptops)
            await pair.until_clock({0, 1}, MOVES_WITHIN_S)
            began = time.monotonic()
            sending = asyncio.create_task(load(senders, session, began + asked.seconds))
            moves = await strikes(pair, asked)
            await sending
            took = time.monotonic() - began
            drained = await pair.until_drained()
            counts, rounds = await pair.counts(), pair.rounds_done()
        await pair.engine.dispose()
    ledger = senders.ledger
    print(
        f"{asked.laptops} laptops, {took:.0f} s, load {os.getloadavg()[0]:.1f}, "
        f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    )
    for what, seconds in moves:
        print(f"clock moved {seconds:.1f} s after {what} (within {MOVES_WITHIN_S:.0f})")
    print(
        f"sent {len(ledger.sent):,}, answered {len(ledger.answered):,} "
        f"({len(ledger.answered) / took:,.0f}/s; {len(ledger.duplicate):,} also as "
        f"duplicates after a lost answer), tries without an answer "
        f"{len(senders.faults):,}"
    )
    print(", ".join(f"{name} {count:,}" for name, count in counts.items()))
    print(f"drained {drained:.1f} s after the load")
    sent = Counter(mail.message_ids)
    again = sum(times - 1 for times in sent.values())
    print(f"mails {len(sent):,}, again under the same Message-ID {again}")
    print(f"rounds done: {dict(rounds)}")
    wrong = differences(counts, ledger, asked.laptops)
    if len(sent) != counts["messages written"]:
        wrong.append(f"{counts['messages written']} written, {len(sent)} mails")
    # One message at most is on its way when its collector is struck.
    if again > asked.kills:
        wrong.append(f"{again} mails came again")
    if any(times > 1 for times in rounds.values()):
        wrong.append("a round was done twice")
    print("reached: nothing lost, nothing doubled" if not wrong else f"NOT: {wrong}")
    return not wrong


def main() -> None:
    """Start a server and run."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.two_collectors")
    parser.add_argument("--seconds", type=float, default=90.0)
    parser.add_argument("--kills", type=int, default=3)
    parser.add_argument("--laptops", type=int, default=200)
    parser.add_argument("--patience", type=float, default=20.0)
    asked = parser.parse_args()
    with (
        running_postgres(durable=True) as server,
        tempfile.TemporaryDirectory(prefix="fadewatch-two-") as folder,
    ):
        address = asyncio.run(server.empty_database())
        if not asyncio.run(run(asked, address, Path(folder))):
            raise SystemExit(1)


if __name__ == "__main__":
    main()
