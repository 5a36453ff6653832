"""The inspection that a laptop's holder answers through a link, without an account."""

import math
from collections.abc import Mapping
from datetime import datetime
from http import HTTPStatus

from aiohttp import web

from fadewatch_collector.edge.asked import client_address
from fadewatch_collector.errors import InvalidRequest, NotSignedIn, TooManyAttempts
from fadewatch_collector.rules.signs import NOT_A_PROOF, SIGNS
from fadewatch_collector.usecases import inspections
from fadewatch_collector.usecases.inspection_links import link_standing
from fadewatch_collector.web.acting import NOTHING_REFUSED, Refused, go_to, refused
from fadewatch_collector.web.forms import read_form
from fadewatch_collector.web.keys import INSPECT_LIMIT, SERVICES
from fadewatch_collector.web.limits import network_of
from fadewatch_collector.web.render import page

INSPECT_PREFIX = "/inspect/"
INSPECT = INSPECT_PREFIX + "{token}"
ANSWERED = "/inspected/{answer}"

NONE_SEEN = "none_seen"
"""The field that says: looked, and saw nothing."""


def is_for_holders(path: str) -> bool:
    """Say whether an address is for people without an account."""
    return path.startswith((INSPECT_PREFIX, "/inspected/"))


def answer_of(form: Mapping[str, str]) -> tuple[list[str], str | None]:
    """Return the signs and the note of an inspection's form.

    Raises
    ------
    InvalidRequest
        Nothing is ticked: that could be a slip, and must not pass for an answer.
    """
    signs = [sign for sign in SIGNS if form.get(f"sign_{sign}")]
    if not signs and not form.get(NONE_SEEN):
        raise InvalidRequest(
            "tick every sign you see, or tick that you looked and saw none"
        )
    return signs, form.get("note", "").strip() or None


async def show_inspection(request: web.Request) -> web.Response:
    """Show the form; looking at a link does not spend it."""
    _limit(request)
    return await _show(request)


async def _show(
    request: web.Request, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    services, token = request.app[SERVICES], request.match_info["token"]
    try:
        asked = await inspections.asked_by(services, token)
    except NotSignedIn:
        return await _gone(request, token)
    answer = page(
        request,
        "inspect.html",
        status=problem.status,
        bound_to=token,
        asked=asked,
        token=token,
        problem=problem,
    )
    return _without_referrer(answer)


async def _gone(request: web.Request, token: str) -> web.Response:
    standing = await link_standing(request.app[SERVICES], token)
    answer = page(
        request,
        "inspect_gone.html",
        status=HTTPStatus.NOT_FOUND if standing is None else HTTPStatus.GONE,
        standing=standing,
    )
    return _without_referrer(answer)


async def send_inspection(request: web.Request) -> web.Response:
    """Keep the holder's answer."""
    _limit(request)
    services, token = request.app[SERVICES], request.match_info["token"]
    form = await read_form(request, token, hides_origin=True)
    try:
        signs, note = answer_of(form)
        await inspections.answer_link(services, token, signs=signs, note=note)
    except InvalidRequest as error:
        return await _show(request, refused("inspect", error, form))
    except NotSignedIn:
        return await _gone(request, token)
    return go_to("/inspected/" + ("signs" if signs else "none"))


async def show_answered(request: web.Request) -> web.Response:
    """Show what to do after an answer: the cautions, or what it does not prove."""
    answer = request.match_info["answer"]
    if answer not in {"signs", "none"}:
        raise web.HTTPNotFound
    return _without_referrer(
        page(
            request,
            "inspect_answered.html",
            seen=answer == "signs",
            not_a_proof=NOT_A_PROOF,
        )
    )


def _without_referrer(answer: web.Response) -> web.Response:
    # The address is the secret: it must not travel on as a Referer.
    answer.headers["Referrer-Policy"] = "no-referrer"
    return answer


def _limit(request: web.Request) -> None:
    now: datetime = request.app[SERVICES].clock()
    key = network_of(client_address(request))
    wait = request.app[INSPECT_LIMIT].take(key, now.timestamp())
    if wait:
        raise TooManyAttempts("visits to inspection links", math.ceil(wait))
