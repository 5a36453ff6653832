"""From where a request was asked: the one place that decides it."""

from collections.abc import Sequence

from aiohttp import web

from fadewatch_collector.edge.forwarded import Asked, asked_by
from fadewatch_collector.settings import Network

TRUSTED: web.AppKey[Sequence[Network]] = web.AppKey("TRUSTED")
"""Proxies that are believed; set on the root application, nobody without it."""

ASKED = web.RequestKey("ASKED", Asked)

_HEADERS = ("x-forwarded-for", "x-forwarded-proto", "x-forwarded-host")


def asked(request: web.Request) -> Asked:
    """Return who asked from where; a trusted proxy's word is taken for it."""
    known: Asked | None = request.get(ASKED)
    if known is not None:
        return known
    found = Asked(request.remote or "", request.scheme, request.host)
    if trusted := _trusted(request):
        sent = {name: request.headers.getall(name, []) for name in _HEADERS}
        found = asked_by(found, sent, trusted)
    request[ASKED] = found
    return found


def is_https(request: web.Request) -> bool:
    """Say whether the caller speaks https, to us or to a trusted proxy before us."""
    # Every answer of the API asks, and where nobody is trusted the rest is not needed.
    if not _trusted(request):
        return request.secure
    return asked(request).scheme == "https"


def _trusted(request: web.Request) -> Sequence[Network]:
    return request.match_info.apps[0].get(TRUSTED, ())


def client_address(request: web.Request) -> str:
    """Return the client's address: what limits count by."""
    return asked(request).address
