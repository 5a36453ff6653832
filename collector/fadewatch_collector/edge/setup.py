"""Put what pages and API share on the root application."""

from aiohttp import web

from fadewatch_collector.edge.asked import TRUSTED
from fadewatch_collector.edge.drain import Drain
from fadewatch_collector.edge.request_ids import name_request
from fadewatch_collector.settings import Settings


def add_edge(
    app: web.Application, settings: Settings, drain: Drain | None = None
) -> None:
    """Believe the trusted proxies, and name every request; first of all that is added.

    An application without it, as in tests of one part, trusts no proxy.
    """
    app[TRUSTED] = settings.trusted_proxies
    app.middlewares.append(name_request)
    if drain is not None:
        app.on_response_prepare.append(drain.close_connection)
