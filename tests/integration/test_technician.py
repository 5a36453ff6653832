"""A technician's case from the first mail to a clean list, with the real collector."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from fadewatch_common.encoding import to_plain
from fadewatch_common.report import Pack
from tests.certificates import make_certificates
from tests.fakes.mail_server import mail_server
from tests.processes import CollectorProcess, new_collector
from tests.reports import AGENT, LAPTOP, PACK, make_report

WORN = replace(PACK, full_charge_capacity=31_000)
FRESH = replace(
    PACK,
    serial="90001",
    full_charge_capacity=57_100,
    remaining_capacity=13_700,
    cycle_count=1,
    state="charging",
)


class Technician:
    """Acts through the API with a technician's token, as a script at the desk does."""

    def __init__(
        self, session: aiohttp.ClientSession, url: str, token: str, key: str
    ) -> None:
        self._session = session
        self._url = f"{url}/api/v1"
        self._token = token
        self._key = key

    async def get(self, path: str) -> Any:
        async with self._session.get(
            self._url + path, headers={"Authorization": f"Bearer {self._token}"}
        ) as answer:
            assert answer.status == 200, await answer.text()
            return await answer.json()

    async def do(self, path: str, body: Mapping[str, Any]) -> None:
        async with self._session.post(
            self._url + path,
            json=body,
            headers={"Authorization": f"Bearer {self._token}"},
        ) as answer:
            assert answer.status in {200, 201, 204}, await answer.text()

    async def report(self, pack: Pack, *days_ago: float) -> None:
        """Report as the laptop's agent does."""
        now = datetime.now(UTC)
        batch = [
            to_plain(make_report(now - timedelta(days=day), (pack,)))
            for day in days_ago
        ]
        async with self._session.post(
            f"{self._url}/reports",
            json={"reports": batch},
            headers={"Authorization": f"Bearer {self._key}"},
        ) as answer:
            assert answer.status == 200, await answer.text()

    async def alert(self, kind: str) -> Any:
        """Return the alert of a kind that is not ended."""
        found = await self.get(f"/alerts?kind={kind}")
        (alert,) = found["alerts"]
        return alert


async def _enrol(session: aiohttp.ClientSession, collector: CollectorProcess) -> str:
    token = collector.command("token", "new", "--label", "t", "--site", "North")
    body = {"token": token, "laptop": to_plain(LAPTOP), "agent": to_plain(AGENT)}
    async with session.post(f"{collector.url}/api/v1/enrol", json=body) as answer:
        assert answer.status == 201, await answer.text()
        key: str = (await answer.json())["key"]
    return key


@pytest.mark.timeout(120)
async def test_from_a_mail_to_a_clean_list(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    certificates = make_certificates(tmp_path)
    collector = new_collector(tmp_path)
    password = tmp_path / "password"
    password.write_text("a long enough password 7!\n")
    async with (
        mail_server(certificates.server_context()) as mail,
        aiohttp.ClientSession() as session,
    ):
        monkeypatch.setenv("FADEWATCH_MAIL_HOST", "127.0.0.1")
        monkeypatch.setenv("FADEWATCH_MAIL_PORT", str(mail.port))
        monkeypatch.setenv("FADEWATCH_MAIL_FROM", "packs@example.net")
        monkeypatch.setenv("FADEWATCH_PRIVATE_CA", str(certificates.authority))
        collector.command(
            *("user", "add", "pat", "--role", "technician"),
            *("--password-file", str(password)),
        )
        token = collector.command("user", "api-token", "new", "pat", "--label", "desk")
        collector.command("route", "add", "mail", "desk@example.net", "--label", "desk")
        with collector.running():
            key = await _enrol(session, collector)
            pat = Technician(session, collector.url, token, key)

            await pat.report(WORN, *range(12, 2, -1))
            await mail.until(lambda: bool(mail.accepted))
            assert "45.6 %" in mail.accepted[0].text

            alert = await pat.alert("wear-replace")
            day = (datetime.now(UTC) + timedelta(days=2)).date().isoformat()
            await pat.do(
                f"/alerts/{alert['id']}/plan", {"version": alert["version"], "on": day}
            )
            await pat.report(FRESH, 1.5, 1, 0.5)
            # The mail of the swap comes in the daily digest; the alert stands at once.
            swap = await _first_swap(pat)
            assert swap["wrong"] == []
            await pat.do(f"/swaps/{swap['id']}/confirm", {"swollen": False})

            assert (await pat.get("/alerts"))["alerts"] == []
            (record,) = (await pat.get("/removed-packs"))["removed"]
            await pat.do(
                f"/removed-packs/{record['id']}/hand-over",
                {"version": record["version"], "way": "collection point"},
            )
            trail = (await pat.get(f"/laptops/{record['laptop_id']}/trail"))["lines"]

    told = {(line["who"], line["action"]) for line in trail}
    assert {
        ("pat", "planned"),
        ("pat", "swap confirmed"),
        ("pat", "pack handed over"),
    } <= told


async def _first_swap(pat: Technician) -> Any:
    """Return the swap, once the collector has filed what it stored."""
    while True:
        found = await pat.get("/swaps?state=to%20confirm")
        if found["swaps"] and found["swaps"][0]["remarks"]:
            return found["swaps"][0]
