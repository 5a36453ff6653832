"""Add the pages to the application."""

import asyncio
from collections.abc import AsyncIterator
from functools import partial

from aiohttp import web
from aiohttp.typedefs import Handler

from fadewatch_collector.errors import NotSignedIn
from fadewatch_collector.usecases.accounts import cookie_secret
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.organisation import provider_of
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web import alert_list, downloads, inspect, live, sign_in
from fadewatch_collector.web.headers import add_headers
from fadewatch_collector.web.keys import (
    DOWNLOADS,
    INSPECT_LIMIT,
    LIMITS,
    OPERATOR,
    ORDERS,
    PROVIDER,
    SERVICES,
    SIGNING,
    STATIC,
    TEMPLATES,
)
from fadewatch_collector.web.limits import (
    INSPECT_BURST,
    INSPECT_EVERY_S,
    SignInLimits,
    TokenBuckets,
)
from fadewatch_collector.web.problems import show_problems
from fadewatch_collector.web.render import make_templates
from fadewatch_collector.web.routes import PAGE_ROUTES
from fadewatch_collector.web.scope import is_for_pages, is_static
from fadewatch_collector.web.sessions import recognise
from fadewatch_collector.web.signing import Signing
from fadewatch_collector.web.static import FOREVER, PREFIX, packaged_files


def add_pages(
    app: web.Application, services: Services, orders: OrderLists | None = None
) -> None:
    """Add routes, middlewares and static files of the pages.

    Requests for ``/api/`` and the health probes pass through untouched. The store
    must be up to date when the application starts.

    Parameters
    ----------
    orders
        Shared with the API, so that both show the same list; else the pages have
        their own.
    """
    static = packaged_files()
    app[SERVICES] = services
    app[ORDERS] = orders or OrderLists(services)
    app[STATIC] = static
    app[TEMPLATES] = make_templates(static)
    app[LIMITS] = SignInLimits()
    app[INSPECT_LIMIT] = TokenBuckets(INSPECT_BURST, INSPECT_EVERY_S)
    app[DOWNLOADS] = asyncio.Semaphore(downloads.AT_ONCE)
    app.middlewares.append(guard_pages)
    app.on_response_prepare.append(add_headers)
    app.cleanup_ctx.append(_signing)
    app.cleanup_ctx.append(_organisation)
    app.cleanup_ctx.append(live.news_desk)
    app.on_shutdown.append(live.let_go)
    app.add_routes(PAGE_ROUTES)
    app.add_routes([web.get(PREFIX + "{name}", send_static)])


@web.middleware
async def guard_pages(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Let programs straight on, and pages past what each of them needs first."""
    if not is_for_pages(request):
        return await handler(request)
    signed_in = partial(require_sign_in, handler=handler)
    return await show_problems(request, partial(recognise, handler=signed_in))


async def require_sign_in(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Let only signed-in operators past, except to what is there for everyone."""
    if OPERATOR in request or _is_open_to_all(request):
        return await handler(request)
    if request.method not in {"GET", "HEAD"}:
        raise NotSignedIn("sign in first: the session has ended")
    wanted = {} if request.path == "/" else {"next": request.path_qs}
    raise web.HTTPSeeOther(alert_list.address(sign_in.SIGN_IN, wanted))


async def send_static(request: web.Request) -> web.Response:
    """Send a static file; its name changes with its content."""
    file = request.app[STATIC].at(request.path)
    if file is None:
        raise web.HTTPNotFound
    return web.Response(
        body=file.body,
        content_type=file.content_type,
        charset="utf-8",
        headers={"Cache-Control": FOREVER},
    )


def _is_open_to_all(request: web.Request) -> bool:
    return (
        is_static(request)
        or request.path in sign_in.PUBLIC
        or inspect.is_for_holders(request.path)
        # No such page: nothing to protect, and the answer should say so.
        or request.match_info.http_exception is not None
    )


async def _signing(app: web.Application) -> AsyncIterator[None]:
    app[SIGNING] = Signing(await cookie_secret(app[SERVICES]))
    yield


async def _organisation(app: web.Application) -> AsyncIterator[None]:
    services = app[SERVICES]
    async with provider_of(services.settings, services.clock) as provider:
        app[PROVIDER] = provider
        yield
