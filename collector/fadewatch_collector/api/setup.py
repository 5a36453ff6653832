"""Put the API's application together."""

import asyncio
import json

from aiohttp import web

from fadewatch_collector.api import keys
from fadewatch_collector.api.bodies import HANDLER_ARGS
from fadewatch_collector.api.buckets import Buckets, Rate
from fadewatch_collector.api.headers import add_headers, unexpected
from fadewatch_collector.api.health import add_health
from fadewatch_collector.api.limits import DEFAULT_LIMITS, Limits
from fadewatch_collector.api.openapi import describe
from fadewatch_collector.api.problems import problems
from fadewatch_collector.api.reports import Delivery
from fadewatch_collector.api.routes import ROUTES
from fadewatch_collector.usecases.known_keys import KnownKeys
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.services import Services

__all__ = [
    "DEFAULT_LIMITS",
    "HANDLER_ARGS",
    "PREFIX",
    "Limits",
    "Rate",
    "add_api",
    "add_health",
]

PREFIX = "/api/v1"
"""Where the root application mounts the API."""


def add_api(
    root: web.Application,
    services: Services,
    intake: keys.IntakePort,
    limits: Limits = DEFAULT_LIMITS,
    orders: OrderLists | None = None,
) -> web.Application:
    """Mount the API at :data:`PREFIX` and return it.

    The root application must be made with ``handler_args=HANDLER_ARGS``.

    Parameters
    ----------
    orders
        Shared with the pages, so that both show the same list; else the API has its
        own.
    """
    clock = services.clock
    app = web.Application(middlewares=[problems])
    app[keys.LIMITS] = limits
    app[keys.SERVICES] = services
    app[keys.ORDERS] = orders or OrderLists(services)
    app[keys.INTAKE] = intake
    app[keys.KNOWN_KEYS] = KnownKeys(services)
    app[keys.REPORT_BUCKETS] = Buckets("reports", limits.reports, clock)
    app[keys.ENROLMENT_BUCKETS] = Buckets("enrolments", limits.enrolments, clock)
    app[keys.OPERATOR_BUCKETS] = Buckets("requests", limits.operators, clock)
    app[keys.EXPORT_PLACES] = asyncio.Semaphore(limits.exports_at_once)
    app[keys.DESCRIPTION] = json.dumps(describe(ROUTES, PREFIX)).encode()
    delivery = Delivery(app)
    app.on_response_prepare.append(add_headers)
    app.on_cleanup.append(_let_go)
    for route in ROUTES:
        app.router.add_route(
            route.method, route.path, route.guarded(), expect_handler=unexpected
        )
    root.add_subapp(PREFIX, app)
    # Found before the application above, which describes it and knows its other methods.
    root.router.add_post(
        PREFIX + "/reports", delivery.take, expect_handler=delivery.expected
    )
    return app


async def _let_go(app: web.Application) -> None:
    await app[keys.KNOWN_KEYS].close()
