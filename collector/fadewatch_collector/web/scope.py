"""Which requests are for pages: the rest of the service shares the application."""

from aiohttp import web

from fadewatch_collector.edge.asked import asked
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.static import PREFIX

_PROGRAMS = ("/api/",)
_PROBES = frozenset({"/api", "/healthz", "/readyz"})


def is_for_pages(request: web.Request) -> bool:
    """Say whether a person's browser asks, and not a program."""
    return not (request.path.startswith(_PROGRAMS) or request.path in _PROBES)


def is_static(request: web.Request) -> bool:
    """Say whether a static file is asked for."""
    return request.path.startswith(PREFIX)


def is_over_https(request: web.Request) -> bool:
    """Say whether the browser speaks https, to us or to what stands before us."""
    public_url = request.app[SERVICES].settings.public_url or ""
    return asked(request).scheme == "https" or public_url.startswith("https://")
