"""GET /metrics, on an address of its own: how the collector does, as OpenMetrics."""

import asyncio
import hmac

from aiohttp import web
from prometheus_client.exposition import choose_encoder

from fadewatch_collector.edge.meters import Meters
from fadewatch_collector.edge.store_meters import StoreMeters
from fadewatch_collector.errors import StoreError
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.store_figures import StoreFigures

STORE_TIMEOUT_S = 5.0
"""Longest wait for the store; what is asked for comes without it then [s]."""


def make_metrics(services: Services, meters: Meters) -> web.Application:
    """Return the application of the metrics' own address.

    It is apart from pages and API, so that a proxy before those can never pass it on.
    With a token in the settings it asks for it.
    """
    figures, of_store = StoreFigures(services), StoreMeters()
    meters.registry.register(of_store)
    token = services.settings.metrics_token
    wanted = None if token is None else f"Bearer {token.get_secret_value()}".encode()

    async def metrics(request: web.Request) -> web.Response:
        sent = request.headers.get("Authorization", "").encode("utf-8", "replace")
        if wanted is not None and not hmac.compare_digest(sent, wanted):
            return web.Response(
                status=401, headers={"WWW-Authenticate": 'Bearer realm="fadewatch"'}
            )
        await _ask_store(services, figures, of_store)
        encode, content_type = choose_encoder(request.headers.get("Accept", ""))
        return web.Response(
            body=encode(meters.registry),
            headers={"Content-Type": content_type, "Cache-Control": "no-store"},
        )

    app = web.Application()
    app.router.add_get("/metrics", metrics)
    return app


async def _ask_store(
    services: Services, figures: StoreFigures, of_store: StoreMeters
) -> None:
    """Take the store's figures; without an answer the rest is still worth telling."""
    work = fleet = None
    try:
        async with asyncio.timeout(STORE_TIMEOUT_S):
            work, fleet = await figures.work(), await figures.fleet()
    except (StoreError, TimeoutError):
        pass
    of_store.now, of_store.work, of_store.fleet = services.clock(), work, fleet
