"""kill -9 of the collector while it sends: every alert's mail arrives."""

import asyncio
import sqlite3
import subprocess
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import aiohttp
import pytest

from fadewatch_common.encoding import to_plain
from tests.certificates import make_certificates
from tests.fakes.mail_server import Accepted, MailServerFake, mail_server
from tests.processes import CollectorProcess, kill_all, new_collector
from tests.reports import AGENT, LAPTOP, PACK, make_report

LAPTOPS = 12
DAYS = 9
KILLED_AT = (2, 6, 7)
"""Mails in whose middle the collector dies: the server has them and has not said so."""


async def enrol(
    session: aiohttp.ClientSession, collector: CollectorProcess
) -> list[str]:
    token = collector.command("token", "new", "--label", "t", "--site", "North")
    keys = []
    for number in range(LAPTOPS):
        laptop = replace(LAPTOP, serial=f"BM-{number:05}")
        body = {"token": token, "laptop": to_plain(laptop), "agent": to_plain(AGENT)}
        url = f"{collector.url}/api/v1/enrol"
        async with session.post(url, json=body) as answer:
            assert answer.status == 201, await answer.text()
            keys.append((await answer.json())["key"])
    return keys


async def report(
    session: aiohttp.ClientSession,
    collector: CollectorProcess,
    keys: list[str],
    days_ago: Iterable[float],
) -> None:
    """Report worn packs, one a laptop."""
    now = datetime.now(UTC)
    days = list(days_ago)
    for number, key in enumerate(keys):
        pack = replace(PACK, serial=f"{number + 1:05}", full_charge_capacity=31_000)
        batch = [
            to_plain(make_report(now - timedelta(days=day), (pack,))) for day in days
        ]
        async with session.post(
            f"{collector.url}/api/v1/reports",
            json={"reports": batch},
            headers={"Authorization": f"Bearer {key}"},
        ) as answer:
            assert answer.status == 200, await answer.text()


class Murder:
    """Kills the collector while the mail server is about to say yes."""

    def __init__(self, mail: MailServerFake, collector: CollectorProcess) -> None:
        self.in_doubt: list[str] = []
        self._mail = mail
        self._collector = collector
        self._process: subprocess.Popen[bytes] | None = None
        self._is_known = asyncio.Event()
        mail.on_mail = self._strike

    async def start(self) -> None:
        """Start the collector; no mail is answered before it is known whom to kill."""
        self._is_known.clear()
        self._process = await asyncio.to_thread(self._collector.start)
        self._is_known.set()

    async def stop(self) -> int:
        """Stop the collector as a system would."""
        assert self._process is not None
        self._process.terminate()
        return await asyncio.to_thread(self._process.wait, 20)

    async def _strike(self, accepted: Accepted) -> None:
        await self._is_known.wait()
        if len(self._mail.accepted) in KILLED_AT:
            assert self._process is not None
            # Without a pause: the server drops what it was doing when the line breaks.
            kill_all(self._process)
            self.in_doubt.append(str(accepted.mail["Message-ID"]))


@pytest.mark.timeout(180)
async def test_kill_9_while_sending_loses_no_mail_and_doubles_none_unknowingly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    certificates = make_certificates(tmp_path)
    collector = new_collector(tmp_path)
    async with (
        mail_server(certificates.server_context()) as mail,
        aiohttp.ClientSession() as session,
    ):
        for name, value in (
            ("MAIL_HOST", "127.0.0.1"),
            ("MAIL_PORT", str(mail.port)),
            ("MAIL_FROM", "packs@example.net"),
            ("PRIVATE_CA", str(certificates.authority)),
        ):
            monkeypatch.setenv(f"FADEWATCH_{name}", value)
        where = ("mail", "desk@example.org", "--label", "desk", "--urgency", "act")
        collector.command("route", "add", *where)
        murder = Murder(mail, collector)
        await murder.start()
        keys = await enrol(session, collector)
        await report(session, collector, keys, range(1, DAYS + 1))
        for kills in range(1, len(KILLED_AT) + 1):
            await mail.until(lambda kills=kills: len(murder.in_doubt) == kills)  # type: ignore[misc]  # bound now
            await murder.start()
        # What was not yet assessed when it died is so with the next reading.
        await report(session, collector, keys, [0])
        await mail.until(lambda: len(set(mail.message_ids)) == LAPTOPS)
        assert await murder.stop() == 0

    sent = Counter(mail.message_ids)
    assert sent.keys() == message_ids(collector)
    assert {name for name, times in sent.items() if times > 1} == set(murder.in_doubt)
    assert sum(sent.values()) == LAPTOPS + len(KILLED_AT)
    contents = {(str(one["Message-ID"]), one.as_bytes()) for one in mail.mails}
    assert len(contents) == LAPTOPS


def message_ids(collector: CollectorProcess) -> set[str]:
    """Return the ids that the mails of all urgent alerts should have."""
    with sqlite3.connect(collector.store) as store:
        acts = store.execute("SELECT count(*) FROM alerts WHERE urgency = 'act'")
        rows = store.execute(
            "SELECT message_id, sent_at IS NOT NULL FROM outbox WHERE what = 'act'"
        ).fetchall()
        assert acts.fetchone() == (len(rows),)
    store.close()
    assert all(is_sent for _, is_sent in rows)
    return {f"<{name}@example.net>" for name, _ in rows}
