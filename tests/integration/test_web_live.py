"""Open pages hear of changes in the alert list."""

import asyncio
from collections.abc import AsyncIterator
from datetime import timedelta

import pytest
from aiohttp import ClientResponse
from sqlalchemy import update

from fadewatch_collector.store.tables import alerts
from fadewatch_collector.usecases import alert_news
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_fleet import fill
from tests.integration.pages_service import Pages, running_pages

ANSWER_S = 20.0


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    await fill(services.store, services.clock(), laptops=24)
    async with running_pages(services) as pages:
        await pages.sign_in("viewer")
        yield pages


async def next_event(stream: ClientResponse) -> str:
    """Return the name of the next event of a stream."""
    async with asyncio.timeout(ANSWER_S):
        async for line in stream.content:
            if line.startswith(b"event: "):
                return line.decode().removeprefix("event: ").strip()
    return "the stream ended"


async def touch(services: Services, later_s: float) -> None:
    """Change an alert as another process would."""
    async with services.store.writing() as connection:
        await connection.execute(
            update(alerts)
            .where(alerts.c.id == 1)
            .values(changed_at=services.clock() + timedelta(seconds=later_s))
        )


async def test_every_open_page_hears_of_each_change(
    pages: Pages, services: Services
) -> None:
    async with pages.client.get("/live") as one, pages.client.get("/live") as two:
        assert one.headers["Content-Type"] == "text/event-stream"
        assert one.headers["Cache-Control"] == "no-store"
        assert [await next_event(one), await next_event(two)] == ["hello", "hello"]

        for number in (1, 2):
            await touch(services, number)
            assert await next_event(one) == "alerts"
        assert await next_event(two) == "alerts"


async def test_a_stopping_service_lets_its_listeners_go(
    pages: Pages, services: Services
) -> None:
    async with pages.client.get("/live") as stream:
        assert await next_event(stream) == "hello"
        async with asyncio.timeout(ANSWER_S):
            await pages.client.server.close()

        assert await next_event(stream) == "the stream ended"


async def test_too_many_listeners_are_sent_away(
    pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(alert_news, "MOST_LISTENERS", 1)
    async with pages.client.get("/live") as stream:
        assert await next_event(stream) == "hello"
        assert (await pages.get("/live")).status == 429
    async with asyncio.timeout(ANSWER_S):
        while (answer := await pages.client.get("/live")).status == 429:
            answer.release()
        assert await next_event(answer) == "hello"
        answer.close()


async def test_only_who_is_signed_in_hears_anything(pages: Pages) -> None:
    pages.client.session.cookie_jar.clear()

    assert (await pages.ask("/live")).status == 303
