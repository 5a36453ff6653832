"""Who asks: the session cookie, and the visit cookie before there is a session."""

import secrets

from aiohttp import web
from aiohttp.typedefs import Handler

from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.usecases import accounts
from fadewatch_collector.web.keys import OPERATOR, SERVICES, SESSION, SIGNING
from fadewatch_collector.web.scope import is_for_pages, is_over_https, is_static

_SECONDS_AN_HOUR = 3600

VISIT_BYTES = 16
"""Random bytes of a visit [bytes], as OWASP ASVS 5.0 11.5.1 asks for."""


@web.middleware
async def recognise(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Put who is signed in on the request; programs and files go straight on."""
    if is_for_pages(request) and not is_static(request):
        token = _cookie(request, "session")
        if token is not None:
            operator = await accounts.operator_of_session(request.app[SERVICES], token)
            if operator is not None:
                request[SESSION] = token
                request[OPERATOR] = operator
    return await handler(request)


async def begin_session(
    request: web.Request, response: web.StreamResponse, operator: Operator
) -> None:
    """Sign an operator in; a session the browser had before ends."""
    services = request.app[SERVICES]
    if SESSION in request:
        await accounts.close_session(services, request[SESSION])
    token = await accounts.open_session(services, operator)
    lifetime_s = int(services.settings.session_hours * _SECONDS_AN_HOUR)
    _set_cookie(request, response, "session", token, lifetime_s)


async def end_session(request: web.Request, response: web.StreamResponse) -> None:
    """Sign out."""
    if SESSION in request:
        await accounts.close_session(request.app[SERVICES], request[SESSION])
    response.del_cookie(_name(request, "session"), path="/")


def visit_of(request: web.Request) -> str | None:
    """Return the visit that a browser without a session was given."""
    return _cookie(request, "visit")


def new_visit() -> str:
    """Return a new visit: what a sign-in form's token is bound to."""
    return secrets.token_urlsafe(VISIT_BYTES)


def keep_visit(request: web.Request, response: web.StreamResponse, visit: str) -> None:
    """Give the browser its visit; it is forgotten when the browser is closed."""
    _set_cookie(request, response, "visit", visit, None)


def _cookie(request: web.Request, kind: str) -> str | None:
    sealed = request.cookies.get(_name(request, kind))
    opened = None if sealed is None else request.app[SIGNING].opened(sealed)
    if opened is None:
        return None
    # The kind is signed too: a visit's cookie under the session's name is nothing.
    prefix, _, value = opened.partition(":")
    return value if prefix == kind else None


def _set_cookie(
    request: web.Request,
    response: web.StreamResponse,
    kind: str,
    value: str,
    lifetime_s: int | None,
) -> None:
    response.set_cookie(
        _name(request, kind),
        request.app[SIGNING].sealed(f"{kind}:{value}"),
        max_age=lifetime_s,
        path="/",
        secure=is_over_https(request),
        httponly=True,
        samesite="Lax",
    )


def _name(request: web.Request, kind: str) -> str:
    # Browsers take a __Host- cookie only over https and only from this very host.
    prefix = "__Host-" if is_over_https(request) else ""
    return f"{prefix}fadewatch-{kind}"
