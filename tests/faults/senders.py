"""Laptops that report over HTTP to a real collector, many in one process."""

import asyncio
import itertools
import json
import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import aiohttp

from fadewatch_common.encoding import to_plain
from fadewatch_common.report import Laptop, Pack
from fadewatch_common.report_id import make_report_id
from tests.faults.ledger import Ledger
from tests.processes import CollectorProcess
from tests.reports import AGENT, LAPTOP, PACK, make_report

FIRST_DAYS_AGO = 400
EVERY = timedelta(hours=6)


class Senders:
    """Laptops with one pack each, whose reports go on from where they stopped.

    Attributes
    ----------
    every
        From one report of a laptop to its next, as it says.
    """

    def __init__(self, collector: CollectorProcess, seed: int = 1) -> None:
        self.collector = collector
        self.ledger = Ledger()
        self.keys: list[str] = []
        self.faults: list[str] = []
        self._chance = random.Random(seed)  # noqa: S311  readings, no secret
        self._numbers = itertools.count()
        self.every = EVERY
        self._at = datetime.now(UTC) - timedelta(days=FIRST_DAYS_AGO)

    async def enrol(self, session: aiohttp.ClientSession, laptops: int) -> None:
        """Let laptops in by one token."""
        token = self.collector.command(
            "token", "new", "--label", "many", "--uses", str(laptops)
        )
        for number in range(laptops):
            told = {
                "token": token,
                "laptop": to_plain(self._laptop(number)),
                "agent": to_plain(AGENT),
            }
            url = f"{self.collector.url}/api/v1/enrol"
            async with session.post(url, json=told) as answer:
                assert answer.status == 201, await answer.text()
                self.keys.append((await answer.json())["key"])

    def reports(self) -> Iterator[tuple[str, dict[str, object]]]:
        """Yield keys and reports without end, one laptop after the other."""
        for number in self._numbers:
            turn, laptop = divmod(number, len(self.keys))
            if laptop == 0:
                self._at += self.every
            at = self._at + laptop * timedelta(milliseconds=7)
            report = make_report(
                at,
                (self._pack(laptop, turn),),
                report_id=make_report_id(
                    int(at.timestamp() * 1000), self._chance.getrandbits(62)
                ),
                laptop=self._laptop(laptop),
                mains_online=turn % 2 == 0,
            )
            plain = to_plain(report)
            assert isinstance(plain, dict)
            yield self.keys[laptop], plain

    async def post(
        self, session: aiohttp.ClientSession, key: str, report: dict[str, object]
    ) -> bool:
        """Send one report and take down what was said; False without an answer."""
        self.ledger.sent.add(str(report["report_id"]))
        try:
            async with session.post(
                f"{self.collector.url}/api/v1/reports",
                json={"reports": [report]},
                headers={"Authorization": f"Bearer {key}"},
            ) as answer:
                if answer.status != 200:
                    self.faults.append(f"{answer.status}: {await answer.text()}"[:200])
                    return False
                self.ledger.note((await answer.json())["results"])
        except (aiohttp.ClientError, OSError, TimeoutError, json.JSONDecodeError) as e:
            self.faults.append(f"{type(e).__name__}: {e}")
            return False
        return True

    async def as_fast_as_it_goes(
        self, session: aiohttp.ClientSession, seconds: float, connections: int = 16
    ) -> float:
        """Send for a while without a pause; returns the reports answered a second."""
        loop, reports = asyncio.get_running_loop(), self.reports()
        until, before = loop.time() + seconds, len(self.ledger.answered)

        async def one() -> None:
            while loop.time() < until:
                await self.post(session, *next(reports))

        await asyncio.gather(*(one() for _ in range(connections)))
        return (len(self.ledger.answered) - before) / seconds

    @staticmethod
    def _laptop(number: int) -> Laptop:
        return replace(LAPTOP, serial=f"BM-{number:05}", hostname=f"tern-{number}")

    def _pack(self, laptop: int, turn: int) -> Pack:
        # Every sixteenth pack is worn, so that alerts come and stay.
        worn = 12_000 if laptop % 16 == 0 else laptop % 4_000
        full = 56_000 - worn - turn * (1 + laptop % 7) + self._chance.randrange(200)
        return replace(
            PACK,
            serial=f"{laptop + 1:05}",
            full_charge_capacity=max(full, 1),
            remaining_capacity=max(full, 1) * (turn % 5 + 1) // 5,
            cycle_count=1 + turn // 4,
        )
