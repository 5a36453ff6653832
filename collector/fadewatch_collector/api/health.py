"""/healthz and /readyz: does the process run, can it work."""

import asyncio

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.answers import Health
from fadewatch_collector.api.problems import problems
from fadewatch_collector.api.replies import reply
from fadewatch_collector.edge.drain import Drain
from fadewatch_collector.errors import StoreError
from fadewatch_collector.store.ping import ping
from fadewatch_collector.usecases.services import Services

STORE_TIMEOUT_S = 5.0
"""Longest wait for the store's answer [s]. Own choice."""

_HEALTH = TypeAdapter(Health)


def add_health(
    app: web.Application, services: Services, drain: Drain | None = None
) -> None:
    """Add the two routes to the root application.

    Parameters
    ----------
    drain
        Once it has begun, the collector is not ready any more.
    """

    async def healthz(request: web.Request) -> web.StreamResponse:
        del request
        return reply(_HEALTH, Health())

    async def ready(request: web.Request) -> web.StreamResponse:
        del request
        if drain is not None and drain.has_begun:
            raise StoreError("the collector is stopping")
        await check_ready(services)
        return reply(_HEALTH, Health())

    async def readyz(request: web.Request) -> web.StreamResponse:
        return await problems(request, ready)

    app.router.add_get("/healthz", healthz)
    app.router.add_get("/readyz", readyz)


async def check_ready(services: Services) -> None:
    """Ask the store for a sign of life, and whether it has every table.

    A store that a newer collector has brought up to date is ready: while several are
    renewed in turn, the others go on.

    Raises
    ------
    StoreError
        It does not answer, or not in time, or waits for its migrations.
    """
    try:
        async with asyncio.timeout(STORE_TIMEOUT_S):
            await ping(services.store)
    except TimeoutError as error:
        raise StoreError("the store does not answer in time") from error
