"""Two collectors on one PostgreSQL: one is killed under load, the other does it all."""

import asyncio
from collections import Counter
from pathlib import Path

import aiohttp
import pytest

from tests.fakes.mail_server import mail_server
from tests.faults.two_collectors import (
    MOVES_WITHIN_S,
    ManyWays,
    differences,
    two_collectors,
)
from tests.integration.postgres import PostgresServer

LAPTOPS = 24
ANSWERED_BEFORE = 250
ANSWERED_AFTER = 250


@pytest.mark.postgres
@pytest.mark.timeout(180)
async def test_kill_9_of_one_collector_loses_nothing_and_doubles_nothing(
    postgres: PostgresServer, tmp_path: Path
) -> None:
    address = await postgres.new_database()
    async with mail_server() as mail, aiohttp.ClientSession() as session:
        settings = {
            "MAIL_HOST": "127.0.0.1",
            "MAIL_PORT": str(mail.port),
            "MAIL_FROM": "packs@example.net",
            "MAIL_SECURITY": "none",
        }
        with two_collectors(tmp_path, address, **settings) as pair:
            where = ("mail", "desk@example.org", "--label", "d", "--urgency", "act")
            pair.collectors[0].command("route", "add", *where)
            await asyncio.to_thread(pair.start)
            senders = ManyWays(pair.collectors)
            await senders.enrol(session, LAPTOPS)
            await pair.until_clock({0, 1}, MOVES_WITHIN_S)
            victim = await pair.clock_holder()
            assert victim is not None

            await senders.send(session, ANSWERED_BEFORE)
            load = asyncio.create_task(senders.send(session, ANSWERED_AFTER))
            await asyncio.sleep(0.2)
            pair.kill(victim)
            moved = asyncio.create_task(pair.until_clock({1 - victim}, MOVES_WITHIN_S))
            await load
            assert await moved < MOVES_WITHIN_S
            await pair.until_drained()
            counts = await pair.counts()
        await pair.engine.dispose()

    assert senders.faults, "the kill was not noticed"
    assert differences(counts, senders.ledger, LAPTOPS) == []
    assert counts["urgent alerts"] == LAPTOPS // 4
    # A mail that was on its way at the kill comes again under the same Message-ID.
    sent = Counter(mail.message_ids)
    assert len(sent) == counts["messages written"]
    assert sum(times > 1 for times in sent.values()) <= 1
