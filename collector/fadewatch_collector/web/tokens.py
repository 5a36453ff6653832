"""Tokens: what a laptop enrols with, and what a program signs in with."""

from datetime import timedelta

from aiohttp import web

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.usecases import api_tokens, enrolment
from fadewatch_collector.usecases.settings_views import known_scopes, settings_trail
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Act,
    Refused,
    go_to,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.alert_list import collector_url
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in
from fadewatch_collector.web.render import page
from fadewatch_collector.web.trail import trail_lines

TOKENS = "/settings/tokens"

LABEL_LENGTH = 100
SITE_LENGTH = 200
MOST_DAYS = 3650
MOST_USES = 1_000_000
"""Bounds of an enrolment token, the same as on the command line. Own choice."""

_MAY = "see or make tokens"


async def show_tokens(request: web.Request) -> web.Response:
    """Show the tokens, without their secrets."""
    require(request, "administrator", _MAY)
    return await _show(request)


async def _show(
    request: web.Request, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    services = request.app[SERVICES]
    return page(
        request,
        "tokens.html",
        status=problem.status,
        tokens=await enrolment.list_tokens(services),
        api_tokens=await api_tokens.list_api_tokens(services),
        sites=(await known_scopes(services)).sites,
        trail=trail_lines(
            await settings_trail(services, "token", "api-token"), named=True
        ),
        problem=problem,
    )


async def make_token(request: web.Request) -> web.Response:
    """Make an enrolment token and show it, this one time."""
    act = await read_act(request, "administrator", _MAY)
    try:
        secret = await enrolment.make_token(
            request.app[SERVICES],
            label=_text(act, "label", LABEL_LENGTH),
            site=_text(act, "site", SITE_LENGTH) if act.form.get("site") else None,
            lifetime=timedelta(days=_count(act, "days", MOST_DAYS)),
            use_limit=_count(act, "uses", MOST_USES),
            who=act.operator.name,
        )
    except InvalidRequest as error:
        return await _show(request, refused("make", error, act.form))
    return page(
        request,
        "token_made.html",
        secret=secret,
        is_for_laptops=True,
        collector_url=collector_url(request),
    )


async def make_api_token(request: web.Request) -> web.Response:
    """Make an API token for who asks, and show it, this one time."""
    act = await read_act(request, "administrator", _MAY)
    try:
        secret = await api_tokens.make_api_token(
            request.app[SERVICES],
            act.operator.name,
            act.form.get("label", ""),
            _count(act, "days", api_tokens.API_TOKEN_DAYS),
            by=act.operator.name,
        )
    except (InvalidRequest, Conflict) as error:
        return await _show(request, refused("make-api", error, act.form))
    return page(
        request,
        "token_made.html",
        secret=secret,
        is_for_laptops=False,
        collector_url=collector_url(request),
    )


async def revoke_token(request: web.Request) -> web.Response:
    """End an enrolment token."""
    number = number_in(request, "token_id", "token")
    act = await read_act(request, "administrator", _MAY)
    await enrolment.revoke_token(request.app[SERVICES], number, act.operator.name)
    return go_to(f"{TOKENS}?done=token-revoked")


async def revoke_api_token(request: web.Request) -> web.Response:
    """End an API token."""
    number = number_in(request, "token_id", "API token")
    act = await read_act(request, "administrator", _MAY)
    try:
        await api_tokens.revoke_api_token(
            request.app[SERVICES], number, by=act.operator.name
        )
    except NotFound as error:
        return await _show(request, refused("revoke-api", error, {}))
    return go_to(f"{TOKENS}?done=token-revoked")


def _text(act: Act, name: str, longest: int) -> str:
    text = act.form.get(name, "").strip()
    if not text or len(text) > longest or not text.isprintable():
        raise InvalidRequest(
            f"the {name} needs 1 to {longest} characters that can be shown"
        )
    return text


def _count(act: Act, name: str, most: int) -> int:
    text = act.form.get(name, "").strip()
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= most):
        raise InvalidRequest(f"the {name} must be a whole number from 1 to {most}")
    return int(text)
