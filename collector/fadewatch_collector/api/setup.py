"""Put the API's application together."""

import asyncio
import json
from http import HTTPStatus

from aiohttp import HttpVersion11, web

from fadewatch_collector.api import keys
from fadewatch_collector.api.bodies import HANDLER_ARGS
from fadewatch_collector.api.buckets import Buckets, Rate
from fadewatch_collector.api.health import add_health
from fadewatch_collector.api.limits import DEFAULT_LIMITS, Limits
from fadewatch_collector.api.openapi import describe
from fadewatch_collector.api.problems import problem_response, problems
from fadewatch_collector.api.routes import ROUTES
from fadewatch_collector.edge.asked import is_https
from fadewatch_collector.edge.request_ids import HEADER, request_id
from fadewatch_collector.usecases.known_keys import KnownKeys
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.services import Services

__all__ = [
    "DEFAULT_LIMITS",
    "HANDLER_ARGS",
    "PREFIX",
    "Limits",
    "Rate",
    "add_health",
    "make_api",
]

PREFIX = "/api/v1"
"""Where the root application mounts the API."""


def make_api(
    services: Services,
    intake: keys.IntakePort,
    limits: Limits = DEFAULT_LIMITS,
    orders: OrderLists | None = None,
) -> web.Application:
    """Return the API, to be mounted at :data:`PREFIX`.

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
    app.on_response_prepare.append(add_headers)
    for route in ROUTES:
        app.router.add_route(
            route.method, route.path, route.guarded(), expect_handler=_expected
        )
    return app


_POLICY = (
    "default-src 'none'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'"
)
"""For a browser that is led to an answer of the API: it shows it, and nothing more."""

_HSTS = "max-age=31536000; includeSubDomains"
"""As on the pages: OWASP ASVS 5.0 3.4.1."""


async def add_headers(request: web.Request, response: web.StreamResponse) -> None:
    """Put the id on an answer, and keep caches and guessing of types away from it."""
    response.headers[HEADER] = request_id(request)
    response.headers.setdefault("Cache-Control", "no-store")
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    response.headers.setdefault("Content-Security-Policy", _POLICY)
    if is_https(request):
        response.headers["Strict-Transport-Security"] = _HSTS


async def _expected(request: web.Request) -> web.StreamResponse | None:
    """Answer the Expect header before the body comes."""
    if request.version < HttpVersion11:
        return None
    if request.headers.get("Expect", "").lower() != "100-continue":
        return problem_response(request, HTTPStatus.EXPECTATION_FAILED)
    await request.writer.write(b"HTTP/1.1 100 Continue\r\n\r\n")
    # What was written is no part of the answer, which has not begun yet.
    request.writer.output_size = 0
    return None
