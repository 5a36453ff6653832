"""kill -9 of the collector in a burst: nothing answered is lost, nothing doubled."""

import asyncio
import json
import random
import sqlite3
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import aiohttp
import pytest

from fadewatch_common.encoding import to_plain
from tests.processes import CollectorProcess, new_collector
from tests.reports import AGENT, LAPTOP, PACK, START, make_report

LAPTOPS = 100
POSTS = 5_000
CONNECTIONS = 32
KILLS = 3


class Burst:
    """Sends reports until each is answered, through collectors that die."""

    def __init__(self, collector: CollectorProcess) -> None:
        self.collector = collector
        self.keys: list[str] = []
        self.waiting: list[tuple[str, dict[str, object]]] = []
        self.stored: set[str] = set()
        self.duplicate: set[str] = set()
        self.answered = 0

    async def enrol(self, session: aiohttp.ClientSession, token: str) -> None:
        for number in range(LAPTOPS):
            laptop = replace(LAPTOP, serial=f"BM-{number:05}")
            body = {
                "token": token,
                "laptop": to_plain(laptop),
                "agent": to_plain(AGENT),
            }
            async with session.post(
                f"{self.collector.url}/api/v1/enrol", json=body
            ) as answer:
                assert answer.status == 201, await answer.text()
                self.keys.append((await answer.json())["key"])

    def prepare(self) -> None:
        for number in range(POSTS):
            pack = replace(PACK, serial=f"{number % LAPTOPS + 1:05}")
            report = make_report(START + timedelta(minutes=number), (pack,))
            plain = to_plain(report)
            assert isinstance(plain, dict)
            self.waiting.append((self.keys[number % LAPTOPS], plain))

    async def send(self) -> None:
        """Send what waits; what is not answered waits again."""
        todo, self.waiting = iter(self.waiting), []

        async def worker(session: aiohttp.ClientSession) -> None:
            for key, report in todo:
                if not await self._post(session, key, report):
                    self.waiting.append((key, report))

        async with aiohttp.ClientSession() as session:
            await asyncio.gather(*(worker(session) for _ in range(CONNECTIONS)))

    async def _post(
        self, session: aiohttp.ClientSession, key: str, report: dict[str, object]
    ) -> bool:
        try:
            async with session.post(
                f"{self.collector.url}/api/v1/reports",
                json={"reports": [report]},
                headers={"Authorization": f"Bearer {key}"},
            ) as answer:
                if answer.status != 200:
                    return False
                (result,) = (await answer.json())["results"]
        except (aiohttp.ClientError, OSError, json.JSONDecodeError):
            return False
        said = {"stored": self.stored, "duplicate": self.duplicate}[result["status"]]
        said.add(result["report_id"])
        self.answered += 1
        return True


@pytest.mark.timeout(180)
async def test_kill_9_in_a_burst_loses_nothing_and_doubles_nothing(
    tmp_path: Path,
) -> None:
    collector = new_collector(tmp_path)
    burst = Burst(collector)
    moments = random.Random(20260302)  # noqa: S311  when to kill, no secret
    process = collector.start()
    token = collector.command("token", "new", "--label", "burst", "--uses", "1000")
    async with aiohttp.ClientSession() as session:
        await burst.enrol(session, token)
    burst.prepare()
    sent = [str(report["report_id"]) for _, report in burst.waiting]

    for _ in range(KILLS):
        sending = asyncio.create_task(burst.send())
        await _until(burst, burst.answered + moments.randrange(200, 1200), sending)
        process.kill()
        process.wait()
        await sending
        process = collector.start()
    while burst.waiting:
        await burst.send()
    process.terminate()
    assert process.wait(20) == 0

    assert burst.stored | burst.duplicate == set(sent)
    with sqlite3.connect(collector.store) as store:
        kept = [row[0] for row in store.execute("SELECT report_id FROM reports")]
        readings = store.execute("SELECT count(*) FROM readings").fetchone()[0]
        waiting = store.execute("SELECT count(*) FROM filing_queue").fetchone()[0]
    store.close()
    assert len(kept) == len(set(kept)) == POSTS
    assert set(kept) == set(sent)
    assert readings + waiting == POSTS


async def _until(burst: Burst, answered: int, sending: asyncio.Task[None]) -> None:
    """Let the burst go on until so many are answered."""
    while burst.answered < answered and not sending.done():
        await asyncio.wait([sending], timeout=0.01)
