"""What the service writes into its log while it is asked, whatever it is asked."""

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable, Iterator
from urllib.parse import quote, urlsplit

import aiohttp
import pytest
from yarl import URL

from fadewatch_collector.cli.logs import JsonLines, NoRequests, TextLines
from fadewatch_collector.settings import Settings
from tests.integration.whole_service import serving

FORGED = '{"level": "ERROR", "message": "forged"}'
SECRET = "fwt_what-nobody-may-read"  # noqa: S105  of a test


async def test_each_request_has_a_line_with_its_number_and_none_of_its_own_words(
    new_store: Callable[[], Awaitable[Settings]], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    settings = (await new_store()).model_copy(update={"port": 0})
    paths = [
        f"/laptops/%0A{quote(FORGED)}?q=%0D%0A{quote(FORGED)}",
        f"/sign-in/once?token={SECRET}",
        f"/inspect/{SECRET}",
        "/api/v1/alerts?cursor=%0A",
        "/healthz",
    ]
    headers = {
        "Authorization": f"Bearer {SECRET}",
        "X-Request-Id": "chosen-by-a-caller",
    }
    numbers = []
    async with serving(settings) as url, aiohttp.ClientSession() as client:
        for path in paths:
            address = URL(url + path, encoded=True)
            async with client.get(
                address, headers=headers, allow_redirects=False
            ) as answer:
                numbers.append(answer.headers.get("X-Request-Id", ""))

    access = [r for r in caplog.records if r.name == "aiohttp.access"]
    lines = [json.loads(JsonLines().format(record)) for record in access]
    assert [line["request_id"] for line in lines[:4]] == numbers[:4]
    assert len(set(numbers[:4])) == 4
    assert len(lines) == len(paths)
    for form in (JsonLines(), TextLines()):
        text = [form.format(record) for record in caplog.records]
        assert not [line for line in text if "\n" in line and "    " not in line]
        for word in ("forged", SECRET, "chosen-by-a-caller"):
            assert not [line for line in text if word in line]


@pytest.fixture
def server_log() -> Iterator[None]:
    """Let the server's own log be told as the command tells it."""
    logger, quiet = logging.getLogger("aiohttp.server"), NoRequests()
    logger.addFilter(quiet)
    yield
    logger.removeFilter(quiet)


@pytest.mark.usefixtures("server_log")
async def test_what_is_no_request_is_told_in_short_and_not_as_an_error(
    new_store: Callable[[], Awaitable[Settings]], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    settings = (await new_store()).model_copy(update={"port": 0})
    sent = f"GET /sign-in/once?token={SECRET} {FORGED} HTTP/1.1\r\n\r\n"
    async with serving(settings) as url:
        reader, writer = await asyncio.open_connection("127.0.0.1", urlsplit(url).port)
        writer.write(sent.encode())
        answer = await reader.readline()
        writer.close()

    assert b"400" in answer
    lines = [TextLines().format(record) for record in caplog.records]
    assert not [line for line in lines if SECRET in line or "forged" in line]
    assert not [r for r in caplog.records if r.levelno > logging.INFO]
    assert [line for line in lines if "was answered 400" in line]
