"""Operator accounts."""

import getpass
import sys
from datetime import timedelta
from pathlib import Path

import click

from fadewatch_collector.cli.api_token import api_token_group
from fadewatch_collector.cli.context import fail, with_services
from fadewatch_collector.cli.tables import print_table
from fadewatch_collector.rules.operators import ROLES, Role
from fadewatch_collector.settings import Settings
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.organisation import link
from fadewatch_collector.usecases.roles import set_role
from fadewatch_collector.usecases.services import Services

STANDARD_INPUT = "-"
"""Stands for standard input where a file is asked for."""

_password_file = click.option(
    "--password-file",
    metavar="FILE",
    help="Take the password from the first line of a file; - is standard input.",
)

_tokens = click.option("--tokens", is_flag=True, help="Revoke their API tokens too.")


@click.group("user")
def user_group() -> None:
    """Manage operator accounts: who may sign in, and what they may do."""


user_group.add_command(api_token_group)


@user_group.command("add")
@click.argument("name")
@click.option(
    "--role",
    type=click.Choice(ROLES),
    required=True,
    help="A viewer looks, a technician acts on alerts, an administrator sets up.",
)
@_password_file
def add(name: str, role: Role, password_file: str | None) -> None:
    """Add an operator; the password is asked for twice."""
    password = _password(password_file)

    async def work(services: Services) -> accounts.Operator:
        return await accounts.add_operator(services, name, role, password, by=_who())

    operator = with_services(work)
    click.echo(f"{operator.name} can sign in as {operator.role}.")


@user_group.command("list")
def show() -> None:
    """List the operators."""
    rows = with_services(accounts.list_operators)
    if not rows:
        click.echo("No operator yet: add one with 'fadewatch-collector user add'.")
        return
    print_table(
        ("name", "role", "added", "state"),
        [
            (
                row.operator.name,
                row.operator.role,
                row.created_at.date().isoformat(),
                f"disabled {row.disabled_at.date()}" if row.disabled_at else "",
            )
            for row in rows
        ],
    )


@user_group.command("password")
@click.argument("name")
@_password_file
@_tokens
def password_command(name: str, password_file: str | None, *, tokens: bool) -> None:
    """Give an operator another password; their sessions end."""
    password = _password(password_file)

    async def work(services: Services) -> None:
        await accounts.set_password(services, name, password, tokens=tokens, by=_who())

    with_services(work)
    click.echo("The password is set; sessions with the old one have ended.")


@user_group.command("role")
@click.argument("name")
@click.argument("role", type=click.Choice(ROLES))
def role_command(name: str, role: Role) -> None:
    """Give an operator another role; their sessions end."""

    async def work(services: Services) -> None:
        await set_role(services, name, role, by=_who())

    with_services(work)
    click.echo(f"The role is {role} now.")


@user_group.command("sign-out")
@click.argument("name", required=False)
@click.option("--everybody", is_flag=True, help="End the sessions of all operators.")
@_tokens
def sign_out(name: str | None, *, everybody: bool, tokens: bool) -> None:
    """End an operator's sessions and sign-in links at once, or everybody's sessions."""
    if everybody == (name is not None) or (everybody and tokens):
        fail("name one operator, or give --everybody alone")

    async def work(services: Services) -> None:
        if name is None:
            await accounts.sign_everybody_out(services, by=_who())
        else:
            await accounts.sign_out_everywhere(services, name, tokens=tokens, by=_who())

    with_services(work)
    click.echo("Signed out.")


@user_group.command("link")
@click.argument("name")
@click.option(
    "--subject",
    required=True,
    help="What the organisation's identity provider calls them (the claim sub).",
)
def link_command(name: str, subject: str) -> None:
    """Let an operator sign in through the organisation's identity provider."""

    async def work(services: Services) -> None:
        await link(services, name, subject, by=_who())

    with_services(work)
    click.echo("The account is linked.")


@user_group.command("disable")
@click.argument("name")
def disable(name: str) -> None:
    """Shut an operator out: sessions, sign-in links and API tokens end at once."""

    async def work(services: Services) -> None:
        await accounts.disable_operator(services, name, by=_who())

    with_services(work)
    click.echo("The account is disabled.")


@user_group.command("enable")
@click.argument("name")
def enable(name: str) -> None:
    """Let a disabled operator in again, with the password they had."""

    async def work(services: Services) -> None:
        await accounts.enable_operator(services, name, by=_who())

    with_services(work)
    click.echo("The account is enabled; its API tokens stay revoked.")


@user_group.command("sign-in-link")
@click.argument("name")
@click.option(
    "--minutes",
    type=click.IntRange(1, 24 * 60),
    default=15,
    show_default=True,
    help="How long it works.",
)
def sign_in_link(name: str, minutes: int) -> None:
    """Print an address that signs an operator in once."""

    async def work(services: Services) -> str:
        token = await accounts.make_single_sign_in(
            services, name, timedelta(minutes=minutes), by=_who()
        )
        return _address(services.settings) + accounts.sign_in_path(token)

    click.echo(with_services(work))


def _address(settings: Settings) -> str:
    # Port 0 is chosen by the running service, which a command knows nothing of.
    is_known = settings.public_url is not None or settings.port
    return settings.pages_url if is_known else ""


def _who() -> str:
    return f"{accounts.COMMAND_LINE} ({getpass.getuser()})"


def _password(password_file: str | None) -> str:
    """Return the password from a file, or typed twice without being shown."""
    if password_file is None:
        password: str = click.prompt(
            "Password", hide_input=True, confirmation_prompt="The same again"
        )
        return password
    if password_file == STANDARD_INPUT:
        return sys.stdin.readline().rstrip("\r\n")
    try:
        text = Path(password_file).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        fail(f"the password file {password_file} cannot be read: {problem}")
    return text.partition("\n")[0].rstrip("\r")
