"""A real collector at its most talkative: no secret in its log or in an answer."""

import base64
import json
import re
import sqlite3
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from aiohttp import ClientSession, CookieJar

from fadewatch_common.encoding import to_json
from tests.processes import CollectorProcess, new_collector
from tests.reports import make_report

RIGHT = "three boats on a Lake 1"
NEW = "four boats on a Lake 22"
WRONG = "wrong boats on a Lake 3"
MISPLACED = "misplaced boats on a lake"
MAIL_SECRET = "mail-server-secret-4711"  # noqa: S105  of a test
CLIENT_SECRET = "client-secret-4712"  # noqa: S105  of a test
STORE_COLUMNS = (
    ("store_values WHERE name = 'cookie-secret'", "value"),
    ("operators", "password_hash"),
    ("agent_keys", "digest"),
    ("operator_sessions", "digest"),
    ("api_tokens", "digest"),
)
"""What would open something, or tell how to, if a log had it."""


@dataclass(slots=True)
class Run:
    """One run: who talks, every secret used, and every answer that was no yes."""

    collector: CollectorProcess
    web: ClientSession
    secrets: dict[str, str] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)

    async def ask(
        self, method: str, path: str, secret: str | None = None, **more: Any
    ) -> str:
        """Send a request and return the body; an error's is kept, with its headers."""
        headers = {"Authorization": f"Bearer {secret}"} if secret else {}
        async with self.web.request(
            method,
            self.collector.url + path,
            headers=headers,
            allow_redirects=False,
            **more,
        ) as answer:
            body = await answer.text()
            if answer.status >= 400:
                self.errors.append(f"{method} {answer.status} {answer.headers} {body}")
            return body

    async def fill(self, page: str, action: str, **fields: str) -> str:
        """Open a page and send a form from it."""
        shown = await self.ask("GET", page)
        token = re.search(r'name="form_token" value="([^"]+)"', shown)
        assert token, shown
        return await self.ask("POST", action, data={"form_token": token[1]} | fields)

    def cookie(self, name: str) -> str:
        """Return what a cookie of the collector holds."""
        (value,) = [one.value for one in self.web.cookie_jar if one.key == name]
        return value


@pytest.fixture
async def run(tmp_path: Path) -> AsyncIterator[Run]:
    collector = new_collector(
        tmp_path,
        {
            "LOG_LEVEL": "DEBUG",
            "MAIL_HOST": "127.0.0.1",
            "MAIL_FROM": "packs@example.org",
            "MAIL_USER": "packs",
            "MAIL_PASSWORD": MAIL_SECRET,
            "OIDC_ISSUER": "http://127.0.0.1:9",
            "OIDC_CLIENT_ID": "fadewatch",
            "OIDC_CLIENT_SECRET": CLIENT_SECRET,
        },
    )
    password = tmp_path / "password"
    password.write_text(RIGHT)
    collector.command(
        "user",
        "add",
        "ada",
        "--role",
        "administrator",
        "--password-file",
        str(password),
    )
    async with ClientSession(cookie_jar=CookieJar(unsafe=True)) as web:
        with collector.running():
            yield Run(collector, web, {"right password": RIGHT, "mail": MAIL_SECRET})


async def enrol_and_report(run: Run) -> None:
    token = run.collector.command("token", "new", "--label", "imaging")
    laptop = {
        "token": token,
        "laptop": {"serial": "BM-1"},
        "agent": {"version": "1", "platform": "linux"},
    }
    key = json.loads(await run.ask("POST", "/api/v1/enrol", json=laptop))["key"]
    run.secrets |= {"enrolment token": token, "laptop's key": key}
    report = {"reports": [json.loads(to_json(make_report()))]}
    await run.ask("POST", "/api/v1/reports", key, json=report)
    renewed = json.loads(await run.ask("POST", "/api/v1/key", key))["key"]
    run.secrets["renewed key"] = renewed
    await run.ask("POST", "/api/v1/reports", renewed, json=report)
    # What goes wrong: the old key, a broken body, a key in the wrong place.
    await run.ask("POST", "/api/v1/reports", key, json=report)
    await run.ask("POST", "/api/v1/reports", renewed, data=b"{" + renewed.encode())
    await run.ask("POST", "/api/v1/enrol", json=laptop | {"laptop": token})
    await run.ask("POST", "/api/v1/enrol", json=laptop | {"token": [token]})
    await run.ask("POST", "/api/v1/enrol", json={token: token})
    await run.ask("GET", f"/api/v1/laptops/{renewed}", renewed)
    await run.ask("GET", f"/api/v1/laptops?{renewed}={token}", renewed)


async def sign_in_and_act(run: Run) -> None:
    run.secrets |= {"wrong password": WRONG, "new password": NEW}
    run.secrets["client secret"] = CLIENT_SECRET
    await run.fill("/sign-in", "/sign-in", name="ada", password=WRONG)
    # A password typed into the wrong field comes back to who typed it, and is not logged.
    run.secrets["password as a name"] = MISPLACED
    await run.fill("/sign-in", "/sign-in", name=MISPLACED, password="ada")  # noqa: S106
    await run.ask("POST", "/sign-in", data={"name": "ada", "password": RIGHT})
    await run.ask("POST", "/sign-in", json={"name": "ada", "password": RIGHT})
    await run.fill("/sign-in", "/sign-in", name="ada", password=RIGHT)
    run.secrets["session cookie"] = run.cookie("fadewatch-session")
    run.secrets["session"] = run.cookie("fadewatch-session").split(":")[1].split(".")[0]
    await run.fill("/account", "/account/password", current=WRONG, password=NEW)
    await run.fill("/account", "/account/password", current=RIGHT, password="short")  # noqa: S106
    await run.fill("/account", "/account/password", current=RIGHT, password=NEW)
    await run.ask("GET", f"/laptops/{run.secrets['session']}")
    link = run.collector.command("user", "sign-in-link", "ada")
    once = link.partition("token=")[2]
    run.secrets["one-time link"] = once
    path = f"/sign-in/once?token={once}"
    await run.fill(path, "/sign-in/once", token=once)
    await run.fill(path, "/sign-in/once", token=once)
    # The provider of the settings is not there.
    await run.ask("GET", "/sign-in/organisation")
    await run.ask("GET", f"/sign-in/organisation/back?code={once}&state={once}")


async def use_the_api(run: Run) -> None:
    token = run.collector.command("user", "api-token", "new", "ada", "--label", "x")
    run.secrets["API token"] = token
    await run.ask("GET", "/api/v1/alerts", token)
    await run.ask("GET", f"/api/v1/alerts?cursor={token}", token)
    await run.ask("GET", f"/api/v1/{token}", token)
    await run.ask("DELETE", "/api/v1/alerts", token)
    for body in (
        {"name": "kim", "role": "chief", "password": NEW},
        {"password": [NEW]},
    ):
        await run.ask("POST", "/api/v1/operators", token, json=body)
    route = {"label": "d", "channel": "webhook", "target": "https://a.example/"}
    made = json.loads(
        await run.ask("POST", "/api/v1/notification-routes", token, json=route)
    )
    run.secrets["webhook's secret"] = made["secret"]
    held = await run.ask("POST", "/api/v1/laptops/1/holder-links", token, json={})
    asked = json.loads(held)["path"].rpartition("/")[2]
    run.secrets["holder's link"] = asked
    await run.ask("GET", f"/inspect/{asked}x")
    await run.ask("POST", "/api/v1/api-tokens/1/revoke", token)
    await run.ask("GET", "/api/v1/alerts", token)


def kept_secrets(store: Path) -> dict[str, str]:
    """Return what the store keeps that no log may have."""
    found = {}
    with sqlite3.connect(f"file:{store}?mode=ro", uri=True) as connection:
        for table, column in STORE_COLUMNS:
            for number, (value,) in enumerate(
                connection.execute(f"SELECT {column} FROM {table}")  # noqa: S608  our own names
            ):
                found[f"{table}.{column} {number}"] = (
                    value.hex() if isinstance(value, bytes) else value
                )
    connection.close()
    return found


def forms_of(secret: str) -> set[str]:
    """Return how a secret may look in a log: plain, quoted, encoded."""
    return {
        secret,
        quote(secret),
        json.dumps(secret)[1:-1],
        base64.b64encode(secret.encode()).decode().rstrip("="),
    }


@pytest.mark.timeout(120)
async def test_no_secret_is_in_the_log_or_in_an_error(run: Run) -> None:
    await enrol_and_report(run)
    await sign_in_and_act(run)
    await use_the_api(run)
    run.secrets |= kept_secrets(run.collector.store)

    run.errors.remove(next(one for one in run.errors if MISPLACED in one))
    log, said = run.collector.log.read_text(), "\n".join(run.errors)

    assert "sign-in refused" in log
    assert len(run.errors) >= 20
    assert len(run.secrets) >= 18
    told = [
        f"{name} in the {where}"
        for name, secret in run.secrets.items()
        for where, text in (("log", log), ("errors", said))
        if any(form in text for form in forms_of(secret))
    ]
    assert not told, told
