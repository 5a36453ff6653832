"""Notification routes: where messages of alerts go, and which."""

from collections.abc import Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Annotated

from aiohttp import web
from pydantic import StringConstraints, TypeAdapter

from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import BODY_BYTES, NOTHING_ELSE, Label, Site
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.replies import reply
from fadewatch_collector.outbound.problems import DeliveryProblem
from fadewatch_collector.rules.alert_terms import Urgency
from fadewatch_collector.rules.notify import Channel, Quiet, Route
from fadewatch_collector.usecases.channels import channels_of
from fadewatch_collector.usecases.notification_routes import (
    end_route,
    list_routes,
    make_route,
    try_route,
)
from fadewatch_common.bounds import AtMost

_TIME = r"^([01][0-9]|2[0-3]):[0-5][0-9]$"
_MINUTES_AN_HOUR = 60

TimeOfDay = Annotated[str, StringConstraints(pattern=_TIME)]
Target = Annotated[
    str, StringConstraints(min_length=1, max_length=2000, pattern=r"^[!-~]+$")
]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietHours:
    """Hours of every day (UTC, ``22:00``) in which only `stop-use` is sent."""

    __pydantic_config__ = NOTHING_ELSE

    begin: TimeOfDay
    end: TimeOfDay


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRoute:
    """A route to be made; no urgencies or sites named: all of them.

    Attributes
    ----------
    target
        A mail address, or the address of a webhook.
    """

    __pydantic_config__ = NOTHING_ELSE

    label: Label
    channel: Channel
    target: Target
    urgencies: Annotated[tuple[Urgency, ...], AtMost(4)] = ()
    sites: Annotated[tuple[Site, ...], AtMost(200)] = ()
    quiet: QuietHours | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeRoute:
    """A new route's number, and the secret that signs a webhook: shown this once."""

    id: int
    secret: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NotificationRoute:
    """A route; ``sites`` is null for every site."""

    id: int
    label: str
    channel: Channel
    target: str
    urgencies: Sequence[Urgency]
    sites: Sequence[str] | None
    quiet: QuietHours | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NotificationRoutes:
    """The routes that have not ended, oldest first."""

    routes: Sequence[NotificationRoute]


@dataclass(frozen=True, slots=True, kw_only=True)
class EndedRoute:
    """Messages that waited for the route and will not be sent [count]."""

    dropped: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteTrial:
    """Whether the test message was taken, or why not."""

    delivered: bool
    problem: str | None


_ROUTES = TypeAdapter(NotificationRoutes)
_NEW = TypeAdapter(NewRoute)
_MADE = TypeAdapter(MadeRoute)
_ENDED = TypeAdapter(EndedRoute)
_TRIAL = TypeAdapter(RouteTrial)


async def show_routes(request: web.Request) -> web.Response:
    """Answer with the routes, without secrets."""
    found = await list_routes(request.app[SERVICES])
    return reply(_ROUTES, NotificationRoutes(routes=[_route(one) for one in found]))


async def add_route(request: web.Request) -> web.Response:
    """Make a route."""
    asked = await read_model(request, _NEW, BODY_BYTES)
    made = await make_route(
        request.app[SERVICES],
        label=asked.label.strip(),
        channel=asked.channel,
        target=asked.target,
        urgencies=asked.urgencies,
        sites=[site.strip() for site in asked.sites],
        quiet=_quiet(asked.quiet),
        who=request[OPERATOR].name,
    )
    answer = MadeRoute(id=made.id, secret=made.secret)
    return reply(_MADE, answer, HTTPStatus.CREATED)


async def stop_route(request: web.Request) -> web.Response:
    """End a route."""
    by = request[OPERATOR].name
    dropped = await end_route(request.app[SERVICES], _number(request), by)
    return reply(_ENDED, EndedRoute(dropped=dropped))


async def send_trial(request: web.Request) -> web.Response:
    """Send a test message through a route, now."""
    services = request.app[SERVICES]
    problem = None
    async with channels_of(services.settings) as channels:
        try:
            await try_route(services, channels, _number(request))
        except DeliveryProblem as failed:
            problem = failed.reason
    return reply(_TRIAL, RouteTrial(delivered=problem is None, problem=problem))


def _number(request: web.Request) -> int:
    return number_in(request, "route_id", "route")


def _route(row: Route) -> NotificationRoute:
    return NotificationRoute(
        id=row.id,
        label=row.label,
        channel=row.channel,
        target=row.target,
        urgencies=row.urgencies,
        sites=row.sites,
        quiet=None if row.quiet is None else _hours(row.quiet),
    )


def _quiet(hours: QuietHours | None) -> Quiet | None:
    return None if hours is None else Quiet(_minute(hours.begin), _minute(hours.end))


def _minute(text: str) -> int:
    hour, _, minute = text.partition(":")
    return int(hour) * _MINUTES_AN_HOUR + int(minute)


def _hours(quiet: Quiet) -> QuietHours:
    return QuietHours(begin=_text(quiet.from_minute), end=_text(quiet.until_minute))


def _text(minute: int) -> str:
    return f"{minute // _MINUTES_AN_HOUR:02}:{minute % _MINUTES_AN_HOUR:02}"
