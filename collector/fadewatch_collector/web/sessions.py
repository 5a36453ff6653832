"""Who asks: the session cookie, and the visit cookie before there is a session."""

import hashlib
import hmac
import secrets

from aiohttp import web
from aiohttp.typedefs import Handler

from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.sessions import Way
from fadewatch_collector.web.keys import OPERATOR, SERVICES, SESSION, SIGNING
from fadewatch_collector.web.scope import is_over_https, is_static

_SECONDS_AN_HOUR = 3600

VISIT_BYTES = 16
"""Random bytes of a visit [bytes], as OWASP ASVS 5.0 11.5.1 asks for."""


KNOWN_DAYS = 180
"""How long a browser is known after a sign-in [day]. Own choice."""

_SECONDS_A_DAY = 86_400

FLOW_S = 600
"""How long somebody may take at the organisation's provider [s]. Own choice."""

_BY_ITSELF = frozenset({"/live"})
"""What open pages ask without their reader: it keeps no session alive."""


async def recognise(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Put who is signed in on the request; files go straight on."""
    if not is_static(request):
        token = _cookie(request, "session")
        if token is not None:
            operator = await accounts.operator_of_session(
                request.app[SERVICES], token, is_use=request.path not in _BY_ITSELF
            )
            if operator is not None:
                request[SESSION] = token
                request[OPERATOR] = operator
    return await handler(request)


async def begin_session(
    request: web.Request,
    response: web.StreamResponse,
    operator: Operator,
    way: Way,
) -> None:
    """Sign an operator in; a session the browser had before ends."""
    services = request.app[SERVICES]
    if SESSION in request:
        await accounts.close_session(services, request[SESSION])
    token = await accounts.open_session(services, operator, way)
    lifetime_s = int(services.settings.session_hours * _SECONDS_AN_HOUR)
    _set_cookie(request, response, "session", token, lifetime_s)
    _make_known(request, response, operator)


async def end_session(request: web.Request, response: web.StreamResponse) -> str | None:
    """Sign out, and return how the session was opened."""
    way = None
    if SESSION in request:
        way = await accounts.close_session(request.app[SERVICES], request[SESSION])
    response.del_cookie(_name(request, "session"), path="/")
    if is_over_https(request):
        # Browsers take it over https only.
        response.headers["Clear-Site-Data"] = '"cache", "storage"'
    return way


def known_browser(request: web.Request, name: str) -> str | None:
    """Return what names the browser, if an account signed in with it before."""
    known = _cookie(request, "known")
    whose, _, browser = (known or "").partition(".")
    if not browser or not hmac.compare_digest(whose, _account_digest(name)):
        return None
    return browser


def _make_known(
    request: web.Request, response: web.StreamResponse, operator: Operator
) -> None:
    browser = known_browser(request, operator.name)
    browser = browser or secrets.token_urlsafe(VISIT_BYTES)
    value = f"{_account_digest(operator.name)}.{browser}"
    _set_cookie(request, response, "known", value, KNOWN_DAYS * _SECONDS_A_DAY)


def _account_digest(name: str) -> str:
    # Names may hold what a cookie cannot.
    return hashlib.sha256(name.encode()).hexdigest()[:32]


def flow_of(request: web.Request) -> str | None:
    """Return the sign-in at the provider that this browser has begun."""
    return _cookie(request, "flow")


def keep_flow(request: web.Request, response: web.StreamResponse, flow: str) -> None:
    """Give the browser the sign-in that it has begun."""
    _set_cookie(request, response, "flow", flow, FLOW_S)


def end_flow(request: web.Request, response: web.StreamResponse) -> None:
    """Take the sign-in at the provider back: it is done, or refused."""
    response.del_cookie(_name(request, "flow"), path="/")


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
