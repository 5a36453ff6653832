"""Signing in and out, by password or by a link that works once."""

import logging
from http import HTTPStatus
from typing import Any
from urllib.parse import urlencode

from aiohttp import web

from fadewatch_collector.edge.asked import client_address
from fadewatch_collector.errors import (
    NotSignedIn,
    TooManyAttempts,
)
from fadewatch_collector.rules.operators import clean_name
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.organisation import BACK_PATH
from fadewatch_collector.usecases.sessions import Way
from fadewatch_collector.web.forms import read_form
from fadewatch_collector.web.keys import LIMITS, OPERATOR, SERVICES, SESSION
from fadewatch_collector.web.problems import problem_page, sentence
from fadewatch_collector.web.render import page
from fadewatch_collector.web.sessions import (
    begin_session,
    end_session,
    keep_visit,
    known_browser,
    new_visit,
    visit_of,
)

_log = logging.getLogger(__name__)

SIGN_IN = "/sign-in"
SIGN_IN_ONCE = "/sign-in/once"
SIGN_OUT = "/sign-out"
ORGANISATION = "/sign-in/organisation"
SIGN_OUT_THERE = ORGANISATION + "/out"

PUBLIC = frozenset(
    {SIGN_IN, SIGN_IN_ONCE, SIGN_OUT, ORGANISATION, BACK_PATH, SIGN_OUT_THERE}
)
"""Addresses that nobody needs to be signed in for."""


async def show_sign_in(request: web.Request) -> web.Response:
    """Show the sign-in form."""
    if OPERATOR in request:
        raise web.HTTPSeeOther(own_path(request.query.get("next")))
    return await _sign_in_page(request, next_path=request.query.get("next", ""))


async def sign_in(request: web.Request) -> web.Response:
    """Check name and password and open a session."""
    form = await read_form(request, _bound_to(request))
    name, password = form.get("name", ""), form.get("password", "")
    next_path = form.get("next", "")
    try:
        operator = await _limited_sign_in(request, name, password)
    except NotSignedIn as error:
        _log.warning("a sign-in from %s was refused", client_address(request))
        return await _sign_in_page(
            request,
            status=HTTPStatus.FORBIDDEN,
            next_path=next_path,
            name=name,
            problem=sentence(error),
        )
    return await go_on(request, operator, own_path(next_path), "password")


async def show_sign_in_once(request: web.Request) -> web.Response:
    """Show the one button of a one-time link: looking at a link must not spend it."""
    token = request.query.get("token", "")
    return await _page_with_form(request, "sign_in_once.html", token=token)


async def sign_in_once(request: web.Request) -> web.Response:
    """Spend a one-time link and open a session."""
    form = await read_form(request, _bound_to(request))
    services = request.app[SERVICES]
    try:
        operator = await accounts.use_single_sign_in(services, form.get("token", ""))
    except NotSignedIn as error:
        return problem_page(request, error)
    return await go_on(request, operator, "/", "link")


async def sign_out(request: web.Request) -> web.Response:
    """End the session."""
    if SESSION in request:
        await read_form(request, request[SESSION])
    answer = web.Response(status=HTTPStatus.SEE_OTHER, headers={"Location": SIGN_IN})
    way = await end_session(request, answer)
    if way == "organisation":
        answer.headers["Location"] = f"{SIGN_IN}?from=organisation"
    return answer


def own_path(wanted: str | None) -> str:
    """Return a path of ours; home when the wanted one could lead elsewhere."""
    if not wanted or not wanted.startswith("/") or wanted.startswith(("//", "/\\")):
        return "/"
    return wanted if wanted.isprintable() else "/"


async def _limited_sign_in(
    request: web.Request, name: str, password: str
) -> accounts.Operator:
    services, limits = request.app[SERVICES], request.app[LIMITS]
    now = services.clock().timestamp()
    account, address = clean_name(name)[:256], client_address(request)
    browser = known_browser(request, clean_name(name))
    wait = limits.take(account, address, now, browser)
    if wait:
        raise TooManyAttempts("tries to sign in", wait)
    operator = await accounts.sign_in(services, name, password)
    limits.succeeded(account, address, now, browser)
    return operator


async def go_on(
    request: web.Request, operator: accounts.Operator, path: str, way: Way
) -> web.Response:
    """Open a session and send the browser to one of our pages."""
    answer = web.Response(status=HTTPStatus.SEE_OTHER, headers={"Location": path})
    await begin_session(request, answer, operator, way)
    _log.info(
        "operator %d signed in by %s from %s",
        operator.id,
        way,
        client_address(request),
    )
    return answer


async def _sign_in_page(request: web.Request, **context: Any) -> web.Response:
    services = request.app[SERVICES]
    known = await accounts.list_operators(services)
    settings = services.settings
    wanted = own_path(context.get("next_path"))
    return await _page_with_form(
        request,
        "sign_in.html",
        **{
            "name": "",
            "problem": None,
            "is_first": not known,
            "provider": settings.oidc_label if settings.oidc_issuer else None,
            "provider_path": f"{ORGANISATION}?{urlencode({'next': wanted})}",
            "passwords_rare": settings.password_only_for is not None,
            "has_left": request.query.get("from") == "organisation",
            **context,
        },
    )


async def _page_with_form(
    request: web.Request, template: str, **context: Any
) -> web.Response:
    visit = visit_of(request) or new_visit()
    answer = page(request, template, bound_to=visit, **context)
    keep_visit(request, answer, visit)
    return answer


def _bound_to(request: web.Request) -> str | None:
    return request.get(SESSION) or visit_of(request)
