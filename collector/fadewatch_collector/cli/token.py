"""Enrolment tokens."""

import getpass
from datetime import timedelta

import click

from fadewatch_collector.cli.context import with_services
from fadewatch_collector.cli.tables import print_table
from fadewatch_collector.store.enrolment import TokenRow
from fadewatch_collector.usecases import enrolment
from fadewatch_collector.usecases.services import Services


@click.group("token")
def token_group() -> None:
    """Enrolment tokens: what a laptop shows once, to get its own key."""


@token_group.command("new")
@click.option(
    "--label", required=True, help="What it is for, such as 'autumn imaging'."
)
@click.option("--site", help="Site that laptops enrolled with it belong to.")
@click.option(
    "--days",
    type=click.IntRange(1, 3650),
    default=30,
    show_default=True,
    help="How long it works.",
)
@click.option(
    "--uses",
    type=click.IntRange(1, 1_000_000),
    default=500,
    show_default=True,
    help="How many laptops it enrols at most.",
)
def new(label: str, site: str | None, days: int, uses: int) -> None:
    """Make a token and print it, alone on a line, this one time only."""

    async def work(services: Services) -> str:
        return await enrolment.make_token(
            services,
            label=label,
            site=site,
            lifetime=timedelta(days=days),
            use_limit=uses,
            who=f"command line ({getpass.getuser()})",
        )

    click.echo(with_services(work))


@token_group.command("list")
def show() -> None:
    """List the tokens; the secrets themselves are not kept."""
    rows = with_services(enrolment.list_tokens)
    if not rows:
        click.echo("No token yet: make one with 'fadewatch-collector token new'.")
        return
    print_table(
        ("id", "label", "site", "used", "expires", "state"),
        [
            (
                str(row.id),
                row.label,
                row.site or "",
                f"{row.uses} of {row.use_limit}",
                row.expires_at.date().isoformat(),
                _state(row),
            )
            for row in rows
        ],
    )


@token_group.command("revoke")
@click.argument("number", type=int, metavar="ID")
def revoke(number: int) -> None:
    """End a token; laptops enrolled with it go on reporting."""

    async def work(services: Services) -> None:
        who = f"command line ({getpass.getuser()})"
        await enrolment.revoke_token(services, number, who)

    with_services(work)
    click.echo(f"Token {number} is revoked.")


def _state(row: TokenRow) -> str:
    if row.revoked_at is not None:
        return f"revoked {row.revoked_at.date()}"
    return "used up" if row.uses >= row.use_limit else ""
