"""API tokens: with one, a program acts for an operator."""

import getpass

import click

from fadewatch_collector.cli.context import with_services
from fadewatch_collector.cli.tables import print_table
from fadewatch_collector.usecases import api_tokens
from fadewatch_collector.usecases.api_tokens import API_TOKEN_DAYS
from fadewatch_collector.usecases.bearer import COMMAND_LINE
from fadewatch_collector.usecases.services import Services


@click.group("api-token")
def api_token_group() -> None:
    """Manage API tokens: with one, a program acts for an operator."""


@api_token_group.command("new")
@click.argument("name")
@click.option("--label", required=True, help="Which program it is for.")
@click.option(
    "--days",
    type=click.IntRange(1, API_TOKEN_DAYS),
    default=365,
    show_default=True,
    help="How long it works.",
)
def new(name: str, label: str, days: int) -> None:
    """Make a token that acts for operator NAME; it is printed this one time only."""

    async def work(services: Services) -> str:
        return await api_tokens.make_api_token(services, name, label, days, by=_who())

    click.echo(with_services(work))


@api_token_group.command("list")
def show() -> None:
    """List the tokens; the secrets themselves are not kept."""
    rows = with_services(api_tokens.list_api_tokens)
    if not rows:
        click.echo("No API token yet.")
        return
    print_table(
        ("id", "label", "operator", "expires", "state"),
        [
            (
                str(row.id),
                row.label,
                row.operator_name,
                row.expires_at.date().isoformat(),
                f"revoked {row.revoked_at.date()}" if row.revoked_at else "",
            )
            for row in rows
        ],
    )


@api_token_group.command("revoke")
@click.argument("number", type=int, metavar="ID")
def revoke(number: int) -> None:
    """End a token at once."""

    async def work(services: Services) -> None:
        await api_tokens.revoke_api_token(services, number, by=_who())

    with_services(work)
    click.echo(f"API token {number} is revoked.")


def _who() -> str:
    return f"{COMMAND_LINE} ({getpass.getuser()})"
