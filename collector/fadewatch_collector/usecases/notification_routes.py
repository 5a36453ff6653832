"""Notification routes: where messages go, and which."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from email.errors import MessageError
from email.headerregistry import Address

from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.outbound.addresses import check_webhook
from fadewatch_collector.outbound.channel import Channels, Destination
from fadewatch_collector.rules.alert_terms import URGENCIES, Urgency
from fadewatch_collector.rules.messages import Message, one_line, stamp
from fadewatch_collector.rules.notify import Channel, Quiet, Route
from fadewatch_collector.store import audit, outbox
from fadewatch_collector.store import notification_routes as rows
from fadewatch_collector.store.notification_routes import NewRoute
from fadewatch_collector.usecases.enrolment import SECRET_BYTES
from fadewatch_collector.usecases.services import Services

SECRET_PREFIX = "fwh_"  # noqa: S105  what a secret begins with, no secret
_LABEL_LENGTH = 100


@dataclass(frozen=True, slots=True)
class MadeRoute:
    """A new route; the secret of a webhook is shown this one time only."""

    id: int
    secret: str | None


async def make_route(
    services: Services,
    *,
    label: str,
    channel: Channel,
    target: str,
    urgencies: Sequence[Urgency] = (),
    sites: Sequence[str] = (),
    quiet: Quiet | None = None,
    who: str,
) -> MadeRoute:
    """Make a route; it tells of what opens from now on.

    Parameters
    ----------
    urgencies, sites
        None named is all of them.

    Raises
    ------
    InvalidRequest
        The label, the address or the quiet hours are not right.
    """
    _check(label, channel, target, quiet)
    secret = None
    if channel == "webhook":
        secret = SECRET_PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    route = NewRoute(
        label=label,
        channel=channel,
        target=target,
        secret=secret,
        urgencies=[one for one in URGENCIES if not urgencies or one in urgencies],
        sites=sorted(set(sites)) or None,
        quiet=quiet,
    )
    # The trail is read by viewers too: it names the label, not the address.
    detail = {"label": label, "channel": channel, "urgencies": list(route.urgencies)}
    now = services.clock()
    async with services.store.writing() as connection:
        route_id = await rows.add_route(connection, route, who, now)
        await audit.note(
            connection, now, who, "route made", f"route:{route_id}", detail
        )
    return MadeRoute(route_id, secret)


async def list_routes(services: Services) -> list[Route]:
    """Return the routes that have not ended, oldest first."""
    async with services.store.reading() as connection:
        return await rows.live_routes(connection)


async def end_route(services: Services, route_id: int, who: str) -> int:
    """End a route; returns how many messages waited for it and will not be sent.

    Raises
    ------
    NotFound
        There is no such route, or it has ended.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        if not await rows.end_route(connection, route_id, now):
            raise NotFound("route", route_id)
        waiting = await outbox.give_up_route(
            connection, route_id, now, "the route was ended"
        )
        await audit.note(connection, now, who, "route ended", f"route:{route_id}")
    return waiting


async def try_route(services: Services, channels: Channels, route_id: int) -> None:
    """Send a test message now, past the outbox and quiet hours.

    Raises
    ------
    NotFound
        There is no such route, or it has ended.
    DeliveryProblem
        It did not get through; the message says why.
    """
    async with services.store.reading() as connection:
        route = await rows.live_route(connection, route_id)
    if route is None:
        raise NotFound("route", route_id)
    now = services.clock()
    message = Message(
        name=f"test.{stamp(now)}.route-{route.id}",
        what="test",
        route=route.label,
        written_at=now,
    )
    destination = Destination(route.target, route.secret)
    await channels[route.channel].send(message, destination, now)


def _check(label: str, channel: Channel, target: str, quiet: Quiet | None) -> None:
    if not label.strip() or one_line(label, _LABEL_LENGTH) != label:
        raise InvalidRequest(
            f"the label is one line of 1 to {_LABEL_LENGTH} characters"
        )
    if quiet is not None and quiet.from_minute == quiet.until_minute:
        raise InvalidRequest("quiet hours begin and end at the same time")
    if channel == "webhook":
        check_webhook(target)
    else:
        check_mail_address(target)


def check_mail_address(text: str) -> None:
    """Check a mail address.

    Raises
    ------
    InvalidRequest
        It is not one.
    """
    try:
        address = Address(addr_spec=text)
        text.encode("ascii")
    except (ValueError, MessageError, IndexError) as problem:
        raise InvalidRequest("this is no mail address that can be used") from problem
    if not address.username or not address.domain or one_line(text, 254) != text:
        raise InvalidRequest("a mail address has a name, an @ and a domain")
