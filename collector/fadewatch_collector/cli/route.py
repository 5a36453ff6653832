"""Notification routes."""

import getpass
import re
from collections.abc import Callable
from typing import Any

import click

from fadewatch_collector.cli.context import with_services
from fadewatch_collector.cli.tables import print_table
from fadewatch_collector.rules.alert_terms import URGENCIES
from fadewatch_collector.rules.notify import Channel, Quiet, Route
from fadewatch_collector.usecases import notification_routes
from fadewatch_collector.usecases.bearer import COMMAND_LINE
from fadewatch_collector.usecases.channels import channels_of
from fadewatch_collector.usecases.notification_routes import MadeRoute
from fadewatch_collector.usecases.services import Services

_HOURS = re.compile(r"([01]\d|2[0-3]):([0-5]\d)-([01]\d|2[0-3]):([0-5]\d)")


@click.group("route")
def route_group() -> None:
    """Notification routes: who is told of alerts by mail or webhook."""


@route_group.group("add")
def add() -> None:
    """Make a route; it tells of what opens from now on."""


def _which(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options that say what a route is for."""
    options = (
        click.option("--label", required=True, help="Whom it reaches, in your words."),
        click.option(
            "--urgency",
            "urgencies",
            type=click.Choice(URGENCIES),
            multiple=True,
            help="Only alerts of this urgency; may be given again. All otherwise.",
        ),
        click.option(
            "--site",
            "sites",
            multiple=True,
            help="Only alerts of this site; may be given again. All otherwise.",
        ),
        click.option(
            "--quiet",
            metavar="HH:MM-HH:MM",
            callback=_read_hours,
            help="Hours (UTC) in which only stop-use is sent; may span midnight.",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


def _read_hours(
    _context: click.Context, _option: click.Parameter, value: str | None
) -> Quiet | None:
    if value is None:
        return None
    found = _HOURS.fullmatch(value)
    if found is None:
        raise click.BadParameter("hours are written 22:00-06:30, in UTC")
    from_hour, from_minute, until_hour, until_minute = map(int, found.groups())
    return Quiet(60 * from_hour + from_minute, 60 * until_hour + until_minute)


@add.command("mail")
@click.argument("address")
@_which
def add_mail(address: str, **which: Any) -> None:
    """Tell a mail ADDRESS."""
    made = with_services(_making("mail", address, which))
    click.echo(f"Route {made.id} is made. Try it: route test {made.id}")


@add.command("webhook")
@click.argument("url")
@_which
def add_webhook(url: str, **which: Any) -> None:
    """Tell a webhook; prints the secret that signs it, this one time only."""
    made = with_services(_making("webhook", url, which))
    click.echo(f"Route {made.id} is made. The receiver checks with this secret:")
    click.echo(made.secret)


def _making(
    channel: Channel, target: str, which: dict[str, Any]
) -> Callable[[Services], Any]:
    async def work(services: Services) -> MadeRoute:
        if channel == "mail" and services.settings.mail_host is None:
            click.echo(
                "No mail is sent before FADEWATCH_MAIL_HOST and FADEWATCH_MAIL_FROM "
                "are set for the service.",
                err=True,
            )
        return await notification_routes.make_route(
            services, channel=channel, target=target, who=_who(), **which
        )

    return work


@route_group.command("list")
def show() -> None:
    """List the routes that have not ended."""
    routes = with_services(notification_routes.list_routes)
    if not routes:
        click.echo("No route yet: make one with 'fadewatch-collector route add'.")
        return
    print_table(
        ("id", "label", "channel", "to", "urgency", "site", "quiet (UTC)"),
        [_cells(route) for route in routes],
    )


def _cells(route: Route) -> tuple[str, ...]:
    return (
        str(route.id),
        route.label,
        route.channel,
        route.target,
        "all" if len(route.urgencies) == len(URGENCIES) else ", ".join(route.urgencies),
        "all" if route.sites is None else ", ".join(route.sites),
        _hours(route.quiet) if route.quiet else "",
    )


def _hours(quiet: Quiet) -> str:
    minutes = (quiet.from_minute, quiet.until_minute)
    return "-".join(f"{minute // 60:02}:{minute % 60:02}" for minute in minutes)


@route_group.command("end")
@click.argument("number", type=int, metavar="ID")
def end(number: int) -> None:
    """End a route; what waits for it is not sent any more."""

    async def work(services: Services) -> int:
        return await notification_routes.end_route(services, number, _who())

    waiting = with_services(work)
    unsent = f"; {waiting} waiting for it will not be sent" if waiting else ""
    click.echo(f"Route {number} has ended{unsent}.")


@route_group.command("test")
@click.argument("number", type=int, metavar="ID")
def test(number: int) -> None:
    """Send a test message over a route now, whatever the hour."""

    async def work(services: Services) -> None:
        async with channels_of(services.settings) as channels:
            await notification_routes.try_route(services, channels, number)

    with_services(work)
    click.echo("The other side has accepted the test message.")


def _who() -> str:
    return f"{COMMAND_LINE} ({getpass.getuser()})"
