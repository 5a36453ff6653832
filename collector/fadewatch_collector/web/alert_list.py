"""Home: the alert list."""

from collections.abc import Mapping
from typing import TypeVar
from urllib.parse import urlencode

from aiohttp import web

from fadewatch_collector.edge.asked import asked
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.alert_terms import (
    ALERT_KINDS,
    ALERT_STATES,
    LIVE_STATES,
    URGENCIES,
)
from fadewatch_collector.rules.operators import at_least
from fadewatch_collector.usecases.alert_actions import operator_names
from fadewatch_collector.usecases.overview import AlertFilter, alert_list
from fadewatch_collector.web.acting import NOTHING_REFUSED, Refused
from fadewatch_collector.web.keys import OPERATOR, SERVICES
from fadewatch_collector.web.render import page

_Word = TypeVar("_Word", bound=str)

FILTERS = ("kind", "urgency", "site", "state")
"""What the address may narrow the list by."""

SITE_LENGTH = 200
"""Longest site name looked for [characters]. Own choice."""


async def show_alerts(request: web.Request) -> web.Response:
    """Show the alerts that wait, most urgent first and then oldest."""
    chosen = {name: request.query.get(name) or None for name in FILTERS}
    return await show_list(request, chosen, request.query.get("after") or None)


async def show_list(
    request: web.Request,
    chosen: Mapping[str, str | None],
    cursor: str | None,
    problem: Refused = NOTHING_REFUSED,
) -> web.Response:
    """Show a page of the list; with a problem when a form on it was refused."""
    services = request.app[SERVICES]
    shown = await alert_list(services, wanted_of(chosen), cursor)
    may_act = at_least(request[OPERATOR].role, "technician")
    return page(
        request,
        "alerts.html",
        status=problem.status,
        problem=problem,
        operators=await operator_names(services) if may_act else (),
        cursor=cursor,
        csv=address("/exports/alerts.csv", chosen),
        shown=shown,
        chosen=chosen,
        is_filtered=any(chosen.values()),
        kinds=ALERT_KINDS,
        states=ALERT_STATES,
        is_first_page=cursor is None,
        first_page=address("/", chosen),
        next_page=shown.next_cursor
        and address("/", {**chosen, "after": shown.next_cursor}),
        address=lambda **changes: address("/", {**chosen, **changes}),
        collector_url=collector_url(request),
    )


def wanted_of(chosen: Mapping[str, str | None]) -> AlertFilter:
    """Return the filter that an address asks for.

    Raises
    ------
    InvalidRequest
        It names a kind, an urgency or a state that does not exist.
    """
    state = _one_of("state", chosen.get("state"), ALERT_STATES)
    return AlertFilter(
        kind=_one_of("kind", chosen.get("kind"), ALERT_KINDS),
        urgency=_one_of("urgency", chosen.get("urgency"), URGENCIES),
        site=site_of(chosen.get("site")),
        states=LIVE_STATES if state is None else (state,),
    )


def site_of(value: str | None) -> str | None:
    """Return the site that an address asks for; None for all of them."""
    if value is not None and (len(value) > SITE_LENGTH or not value.isprintable()):
        raise InvalidRequest("the site in the address is not the name of one")
    return value or None


def address(path: str, query: Mapping[str, str | None]) -> str:
    """Return a path with the parts of a query that say something."""
    kept = {name: value for name, value in query.items() if value}
    return f"{path}?{urlencode(kept)}" if kept else path


def collector_url(request: web.Request) -> str:
    """Return the address under which agents reach this collector."""
    public_url = request.app[SERVICES].settings.public_url
    if public_url:
        return public_url
    by = asked(request)
    return f"{by.scheme}://{by.host}"


def _one_of(name: str, value: str | None, known: tuple[_Word, ...]) -> _Word | None:
    if value is None:
        return None
    for word in known:
        if word == value:
            return word
    raise InvalidRequest(f"there is no {name} of that name in the alert list")
