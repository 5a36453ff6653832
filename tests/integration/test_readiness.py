"""When a collector says that work may be sent to it."""

import asyncio

import pytest
from aiohttp import web
from aiohttp.test_utils import TestClient, TestServer
from sqlalchemy import text

from fadewatch_collector.api.setup import add_health
from fadewatch_collector.edge.drain import Drain
from fadewatch_collector.edge.setup import add_edge
from fadewatch_collector.usecases.services import Services
from tests.integration.postgres import DATABASES

ON = DATABASES


async def answers(services: Services, drain: Drain) -> tuple[int, int, str]:
    """Return the statuses of life and readiness, and what the latter says."""
    app = web.Application()
    add_edge(app, services.settings, drain)
    add_health(app, services, drain)
    async with TestClient(TestServer(app)) as client:
        async with client.get("/healthz") as life:
            alive = life.status
        async with client.get("/readyz") as readiness:
            said = await readiness.json(content_type=None)
            return alive, readiness.status, str(said.get("detail", said["status"]))


@pytest.mark.parametrize(
    ("revision", "expected"),
    [
        # The first released schema: everything after it is missing.
        ("0001", (200, 503, "the store waits for its migrations")),
        # One that this collector does not know: a newer one has been here.
        ("9999", (200, 200, "ok")),
    ],
)
async def test_a_collector_is_ready_unless_its_store_lacks_tables(
    services: Services, revision: str, expected: tuple[int, int, str]
) -> None:
    found = await answers(services, Drain())
    async with services.store.writing() as connection:
        await connection.execute(
            text("UPDATE alembic_version SET version_num = :it"), {"it": revision}
        )

    assert found == (200, 200, "ok")
    assert await answers(services, Drain()) == expected


async def test_a_collector_that_stops_is_alive_and_not_ready(
    services: Services,
) -> None:
    drain, hurry = Drain(), asyncio.Event()
    hurry.set()
    await drain.begin(60, hurry)

    assert await answers(services, drain) == (200, 503, "the collector is stopping")
