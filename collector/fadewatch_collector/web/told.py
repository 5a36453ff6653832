"""Who is told of alerts: mail addresses and webhooks."""

import re
from collections.abc import Mapping

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.outbound.problems import DeliveryProblem
from fadewatch_collector.rules.alert_terms import URGENCIES, Urgency
from fadewatch_collector.rules.notify import Channel, Quiet
from fadewatch_collector.usecases import notification_routes as routes
from fadewatch_collector.usecases.channels import channels_of
from fadewatch_collector.usecases.settings_views import known_scopes, settings_trail
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    go_to,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in
from fadewatch_collector.web.render import page
from fadewatch_collector.web.trail import trail_lines

TOLD = "/settings/told"
ROUTE = TOLD + "/{route_id}"

CHANNELS: Mapping[str, Channel] = {"mail": "mail", "webhook": "webhook"}
_MAY = "see or change who is told of alerts"
_HOURS = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])", re.ASCII)


async def show_told(request: web.Request) -> web.Response:
    """Show who is told."""
    require(request, "administrator", _MAY)
    return await _show(request)


async def _show(
    request: web.Request, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    services = request.app[SERVICES]
    return page(
        request,
        "told.html",
        status=problem.status,
        routes=await routes.list_routes(services),
        sites=(await known_scopes(services)).sites,
        channels=tuple(CHANNELS),
        mail_is_set=services.settings.mail_host is not None,
        trail=trail_lines(await settings_trail(services, "route"), named=True),
        problem=problem,
        clock_of=clock_of,
    )


async def add_route(request: web.Request) -> web.Response:
    """Add a route; a webhook's secret is shown this one time."""
    act = await read_act(request, "administrator", _MAY)
    form = act.form
    try:
        site = form.get("site", "").strip()
        made = await routes.make_route(
            request.app[SERVICES],
            label=form.get("label", "").strip(),
            channel=_channel(form),
            target=form.get("target", "").strip(),
            urgencies=_urgencies(form),
            sites=(site,) if site else (),
            quiet=quiet_of(form),
            who=act.operator.name,
        )
    except InvalidRequest as error:
        return await _show(request, refused("add", error, form))
    if made.secret is None:
        return go_to(f"{TOLD}?done=route-added")
    return page(request, "told_secret.html", secret=made.secret)


async def end_route(request: web.Request) -> web.Response:
    """End a route."""
    number = number_in(request, "route_id", "route")
    act = await read_act(request, "administrator", _MAY)
    await routes.end_route(request.app[SERVICES], number, act.operator.name)
    return go_to(f"{TOLD}?done=route-ended")


async def test_route(request: web.Request) -> web.Response:
    """Send a test message now, and say what the other side answered."""
    number = number_in(request, "route_id", "route")
    act = await read_act(request, "administrator", _MAY)
    services = request.app[SERVICES]
    try:
        async with channels_of(services.settings) as channels:
            await routes.try_route(services, channels, number)
    except (DeliveryProblem, InvalidRequest, NotFound) as error:
        return await _show(request, refused(f"test-{number}", error, act.form))
    return go_to(f"{TOLD}?done=route-tested")


def _channel(form: Mapping[str, str]) -> Channel:
    channel = CHANNELS.get(form.get("channel", ""))
    if channel is None:
        raise InvalidRequest("choose mail or webhook")
    return channel


def quiet_of(form: Mapping[str, str]) -> Quiet | None:
    """Return the quiet hours of a form; None when it has none.

    Raises
    ------
    InvalidRequest
        One of the two is missing, or no time of the day.
    """
    begins, ends = form.get("from", "").strip(), form.get("until", "").strip()
    if not begins and not ends:
        return None
    return Quiet(_minute(begins), _minute(ends))


def clock_of(minute: int) -> str:
    """Write a minute of the day as a time."""
    return f"{minute // 60:02}:{minute % 60:02}"


def _minute(text: str) -> int:
    found = _HOURS.fullmatch(text)
    if found is None:
        raise InvalidRequest("quiet hours begin and end at a time such as 20:30")
    return 60 * int(found[1]) + int(found[2])


def _urgencies(form: Mapping[str, str]) -> list[Urgency]:
    chosen = [one for one in URGENCIES if form.get(f"urgency-{one}")]
    if not chosen:
        raise InvalidRequest("choose at least one urgency")
    return chosen
