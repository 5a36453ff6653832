"""Forget a laptop or a holder."""

import getpass
import json
from collections.abc import Awaitable, Callable, Mapping

import click

from fadewatch_collector.cli.context import with_services
from fadewatch_collector.usecases import forget
from fadewatch_collector.usecases.bearer import COMMAND_LINE
from fadewatch_collector.usecases.forget import Forgotten
from fadewatch_collector.usecases.services import Services

SOMETHING_LEFT = 7
"""Exit code when the search afterwards found something."""

BEYOND = (
    "Beyond its reach: mails and webhooks already sent, files exported, log lines, and "
    "backups, which hold all of it until they are deleted; after a restore do it again. "
    "'database compact' writes the freed space of the store's files over."
)

_yes = click.option("--yes", is_flag=True, help="Do it; without, it is only shown.")
_json = click.option("--json", "as_json", is_flag=True, help="One JSON object.")


@click.group("forget")
def forget_group() -> None:
    """Delete what is held about a laptop, or the name of a holder."""


@forget_group.command("laptop")
@click.argument("which", metavar="ID|SERIAL")
@_yes
@_json
def laptop_command(which: str, *, yes: bool, as_json: bool) -> None:
    """Delete what is held about a laptop; it cannot be undone.

    Its key ends. The ageing of its packs stays, without the laptop. Exit code 0: done,
    or shown; 7: a search afterwards found something.
    """

    async def work(services: Services) -> Forgotten:
        number = await forget.laptop_named(services, which)
        return await forget.forget_laptop(services, number, _who(), dry_run=not yes)

    _run(work, as_json=as_json)


@forget_group.command("holder")
@click.argument("name")
@_yes
@_json
def holder_command(name: str, *, yes: bool, as_json: bool) -> None:
    """Blank the NAME of a holder wherever it stands; it cannot be undone."""

    async def work(services: Services) -> Forgotten:
        return await forget.forget_holder(services, name, _who(), dry_run=not yes)

    _run(work, as_json=as_json)


def _who() -> str:
    return f"{COMMAND_LINE} ({getpass.getuser()})"


def _run(work: Callable[[Services], Awaitable[Forgotten]], *, as_json: bool) -> None:
    told = with_services(work)
    if as_json:
        click.echo(json.dumps(told.to_plain(), ensure_ascii=False, indent=1))
    else:
        _show(told)
    if told.left:
        raise SystemExit(SOMETHING_LEFT)


def _show(told: Forgotten) -> None:
    would = "" if told.done else "would be "
    _list(f"{would}deleted, or emptied", told.deleted)
    _list("stays without the laptop", told.cut_off)
    _list(f"{would}blanked", told.blanked)
    _list("names it and stays (operators, or what laptops report)", told.stays)
    for sentence in told.not_searched:
        click.echo(sentence)
    if not told.done:
        click.echo("Nothing was changed. Run it again with --yes to do it.")
        return
    _list("STILL THERE", told.left)
    if not told.left:
        click.echo(f"Forgotten: {told.what}. A search of every table found nothing.")
    click.echo(BEYOND)


def _list(title: str, counted: Mapping[str, int]) -> None:
    for name, number in sorted(counted.items()):
        click.echo(f"{number:>7,}  {name}: {title}")
