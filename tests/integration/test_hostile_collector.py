"""Hostile strings of laptops and packs, through every exit of a running collector.

One collector is filled once with a laptop for each string of the table; then each exit
has its test: pages, CSV files and their names, mail, webhooks, log lines, terminals.
"""

import asyncio
import csv
import io
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urldefrag, urljoin, urlsplit

import aiohttp
import pytest

from fadewatch_common.encoding import to_plain
from fadewatch_common.report import Drive, Memory, MemorySlot, Pack
from tests.certificates import make_certificates
from tests.fakes.mail_server import MailServerFake, mail_server
from tests.fakes.webhook_receiver import ReceiverFake, webhook_receiver
from tests.hostile import SENDABLE
from tests.processes import CollectorProcess, new_collector
from tests.reports import AGENT, LAPTOP, PACK, make_report

DAYS = 9
MOST_PAGES = 60
PASSWORD = "three boats on a lake"  # noqa: S105  of a test's operator
TURNING = re.compile("[\u2028-\u202e\u2066-\u2069]")
EFFECTIVE = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")
HEADERS = {
    "From",
    "To",
    "Subject",
    "Date",
    "Message-ID",
    "Auto-Submitted",
    "Content-Type",
    "Content-Transfer-Encoding",
    "MIME-Version",
}


@dataclass(frozen=True, slots=True)
class Fetched:
    """One answer."""

    path: str
    headers: Mapping[str, str]
    text: str


@dataclass(slots=True)
class Harvest:
    """What came out of the collector."""

    pages: list[Fetched] = field(default_factory=list)
    files: list[Fetched] = field(default_factory=list)
    mails: list[EmailMessage] = field(default_factory=list)
    recipients: set[str] = field(default_factory=set)
    posted: list[dict[str, Any]] = field(default_factory=list)
    log: str = ""
    printed: str = ""


class Seen(HTMLParser):
    """What a browser would find in a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.inside: dict[str, str] = {"script": "", "style": ""}
        self._open = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        self._open = tag

    def handle_data(self, data: str) -> None:
        if self._open in self.inside:
            self.inside[self._open] += data


def hostile_laptop(text: str, number: int) -> tuple[dict[str, Any], list[Any]]:
    """Return what a laptop enrols with and reports, full of one string."""
    name, short = text[:128], text[:32]
    laptop = replace(
        LAPTOP,
        hostname=text,
        maker=name,
        model=name,
        serial=f"{name[:120]}{number}",
        board_uuid=f"6f1d3a52-8a3e-4f0a-9c11-{number:012}",
        chassis=name,
    )
    pack = Pack(
        slot=text[:64],
        unit="mWh",
        state="discharging",
        maker=name,
        model=name,
        serial=f"{name[:120]}{number}",
        chemistry=short,
        design_capacity=PACK.design_capacity,
        full_charge_capacity=31_000,
        cycle_count=700,
    )
    slot = MemorySlot(
        locator=text[:64], size_mib=8192, kind=short, maker=name, part=name
    )
    now = datetime.now(UTC)
    reports = [
        to_plain(
            make_report(
                now - timedelta(days=day),
                (pack,),
                laptop=laptop,
                memory=Memory(total_mib=8192, slots=(slot,)),
                drives=(
                    Drive(name=text[:64], size_bytes=10**12, model=name, serial=name),
                ),
                remarks=(text,),
            )
        )
        for day in range(1, DAYS + 1)
    ]
    return {"laptop": to_plain(laptop), "agent": to_plain(AGENT)}, reports


async def fill(session: aiohttp.ClientSession, collector: CollectorProcess) -> None:
    token = await asyncio.to_thread(
        collector.command, "token", "new", "--label", "x", "--uses", "100"
    )
    for number, text in enumerate(SENDABLE.values()):
        told, reports = hostile_laptop(text, number)
        url = f"{collector.url}/api/v1/enrol"
        async with session.post(url, json=told | {"token": token}) as answer:
            assert answer.status == 201, await answer.text()
            key = (await answer.json())["key"]
        async with session.post(
            f"{collector.url}/api/v1/reports",
            json={"reports": reports},
            headers={"Authorization": f"Bearer {key}"},
        ) as answer:
            results = (await answer.json())["results"]
            assert {one["status"] for one in results} == {"stored"}, results[:1]


async def crawl(
    session: aiohttp.ClientSession, collector: CollectorProcess, harvest: Harvest
) -> None:
    """Sign in and follow every link, files first, then the shallow ones."""
    async with session.get(f"{collector.url}/sign-in") as answer:
        tags = Seen(await answer.text()).tags
    (form_token,) = {
        fields["value"] for _, fields in tags if fields.get("name") == "form_token"
    }
    form = {"form_token": form_token, "name": "mira", "password": PASSWORD}
    async with session.post(f"{collector.url}/sign-in", data=form) as answer:
        assert answer.status == 200
    waiting, known = ["/"], {"/"}
    while waiting and len(harvest.pages) < MOST_PAGES:
        path = waiting.pop(0)
        async with session.get(collector.url + path) as answer:
            kind = answer.content_type
            if kind == "text/event-stream":
                continue
            got = Fetched(path, dict(answer.headers), (await answer.read()).decode())
        if kind != "text/html":
            harvest.files.append(got)
            continue
        harvest.pages.append(got)
        for tag, fields in Seen(got.text).tags:
            link = urldefrag(urljoin(collector.url + path, fields.get("href", "")))[0]
            if tag != "a" or not link.startswith(collector.url + "/"):
                continue
            where = urlsplit(link)
            short = where.path + (f"?{where.query}" if where.query else "")
            if short not in known:
                known.add(short)
                if where.path.startswith("/exports/"):
                    waiting.insert(0, short)
                else:
                    waiting.append(short)


async def harvested(folder: Path) -> Harvest:
    certificates = make_certificates(folder)
    harvest = Harvest()
    async with (
        mail_server(certificates.server_context()) as mail,
        webhook_receiver(certificates.server_context()) as hook,
        aiohttp.ClientSession(
            cookie_jar=aiohttp.CookieJar(unsafe=True),
            timeout=aiohttp.ClientTimeout(total=60),
        ) as session,
    ):
        settings = {
            "LOG_LEVEL": "INFO",
            "MAIL_HOST": "127.0.0.1",
            "MAIL_PORT": str(mail.port),
            "MAIL_FROM": "packs@example.net",
            "PRIVATE_CA": str(certificates.authority),
        }
        collector = replace(new_collector(folder), settings=settings)
        await asyncio.to_thread(prepare, collector, hook)
        process = await asyncio.to_thread(collector.start)
        try:
            await gather(session, collector, harvest, mail, hook)
        finally:
            process.terminate()
            await asyncio.to_thread(process.wait, 30)
        harvest.printed = await asyncio.to_thread(printed, collector)
    harvest.log = (folder / "collector.log").read_text()
    return harvest


def prepare(collector: CollectorProcess, hook: ReceiverFake) -> None:
    words = collector.folder.parent / "password"
    words.write_text(PASSWORD)
    told = ("--role", "administrator", "--password-file", str(words))
    collector.command("user", "add", "mira", *told)
    more = ("--label", "desk", "--urgency", "act")
    collector.command("route", "add", "mail", "desk@example.org", *more)
    collector.command("route", "add", "webhook", hook.url, *more)


async def gather(
    session: aiohttp.ClientSession,
    collector: CollectorProcess,
    harvest: Harvest,
    mail: MailServerFake,
    hook: ReceiverFake,
) -> None:
    await fill(session, collector)
    async with asyncio.timeout(150):
        await mail.until(lambda: len(set(mail.message_ids)) >= len(SENDABLE))
        # Webhooks are posted by the same sender, beside the mails.
        await crawl(session, collector, harvest)
    harvest.mails = mail.mails
    harvest.recipients = {one for accepted in mail.accepted for one in accepted.to}
    harvest.posted = [one.plain for one in hook.posted]


def printed(collector: CollectorProcess) -> str:
    """Return what commands print that name packs or rows of a file."""
    folder = collector.folder.parent
    stock = folder / "stock.csv"
    keys = io.StringIO(newline="")
    rows = csv.writer(keys)
    rows.writerow(["pack_type", "on_hand"])
    for text in SENDABLE.values():
        name = text.replace("%", "%25").replace("|", "%7C").strip()
        rows.writerow([f"{name}|{name}|mWh|57000|", "1"])
    stock.write_text(keys.getvalue(), encoding="utf-8")
    places = folder / "places.csv"
    places.write_text(
        "laptop_serial,site\n" + "".join(f'"\x1b[31m{n}\u202e",x\n' for n in range(3)),
        encoding="utf-8",
    )
    out = folder / "fleet.csv"
    return "\n".join(
        (
            collector.command("import", "stock", str(stock), "--dry-run"),
            collector.command("import", "places", str(places), "--dry-run"),
            collector.command("export", "fleet", "--out", str(out)),
        )
    )


@pytest.fixture(scope="module")
def harvest(tmp_path_factory: pytest.TempPathFactory) -> Harvest:
    return asyncio.run(harvested(tmp_path_factory.mktemp("hostile")))


pytestmark = pytest.mark.timeout(400)


def test_pages_hold_no_element_or_attribute_that_a_string_brought(
    harvest: Harvest,
) -> None:
    assert len(harvest.pages) == MOST_PAGES
    for page in harvest.pages:
        seen = Seen(page.text)
        assert "Content-Security-Policy" in page.headers
        assert not "".join(seen.inside.values()).strip(), page.path
        for tag, fields in seen.tags:
            assert not any(name.startswith("on") for name in fields), page.path
            assert tag not in {"i", "iframe", "object", "embed", "base"}, page.path
            for link in ("href", "src", "action", "formaction"):
                assert not re.match(
                    r"\s*(javascript|data):", fields.get(link, ""), re.IGNORECASE
                )


def test_pages_show_strings_as_they_are_and_turn_nothing_round(
    harvest: Harvest,
) -> None:
    shown = "\n".join(page.text for page in harvest.pages)

    assert "{{7*7}}{% raw %}" in shown
    assert "%s%n%x {0.__class__}" in shown
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in shown
    assert not TURNING.search(shown)


def test_csv_files_keep_their_columns_and_run_no_formula(harvest: Harvest) -> None:
    files = [one for one in harvest.files if "csv" in one.headers["Content-Type"]]
    assert len(files) >= 4
    for file in files:
        head, *rows = csv.reader(io.StringIO(file.text.lstrip("\ufeff"), newline=""))
        assert {len(row) for row in rows} <= {len(head)}, file.path
        for row in rows:
            for cell in row:
                assert not re.match(r"\s*[=@\uff1d\uff20\t\r]", cell), (file.path, cell)
                assert not re.match(r"\s*[-+\uff0b\uff0d](?![\d.]+$)", cell), cell


def test_downloads_have_names_of_our_own(harvest: Harvest) -> None:
    for file in harvest.files:
        if said := file.headers.get("Content-Disposition"):
            assert re.fullmatch(r'attachment; filename="?[a-z0-9.-]+"?', said), said


def test_mail_has_our_headers_and_one_recipient(harvest: Harvest) -> None:
    assert len(harvest.mails) >= len(SENDABLE)
    assert harvest.recipients == {"desk@example.org"}
    for mail in harvest.mails:
        assert set(mail.keys()) <= HEADERS, mail.keys()
        assert str(mail["Subject"]).isprintable()
        body = mail.get_body(("plain",))
        assert body is not None
        assert not EFFECTIVE.search(body.get_content().replace("\r\n", "\n"))
        assert max(map(len, body.get_content().splitlines())) < 1_000


def test_webhooks_are_whole_objects_of_our_own_names(harvest: Harvest) -> None:
    names = {tuple(sorted(one)) for one in harvest.posted}

    assert len(names) == 1
    assert len(harvest.posted) >= len(SENDABLE)


def test_log_lines_are_whole_and_name_no_pack(harvest: Harvest) -> None:
    lines = [json.loads(line) for line in harvest.log.splitlines()]

    assert len(lines) > 100
    assert {line["level"] for line in lines} <= {"INFO"}
    for text in SENDABLE.values():
        if len(text) > 8:
            assert text not in harvest.log
            assert json.dumps(text)[1:-1] not in harvest.log


def test_commands_print_nothing_that_acts_on_a_terminal(harvest: Harvest) -> None:
    assert "no such type" in harvest.printed or "would change" in harvest.printed
    assert not EFFECTIVE.search(harvest.printed)
