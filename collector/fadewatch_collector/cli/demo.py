"""Show the collector with an invented fleet."""

import time
from datetime import timedelta

import click

from fadewatch_collector.cli.context import read_settings, with_services
from fadewatch_collector.cli.serve import run_service
from fadewatch_collector.usecases.accounts import make_single_sign_in, sign_in_path
from fadewatch_collector.usecases.demo import OPERATOR, fill_with_demo, is_demo
from fadewatch_collector.usecases.services import Services

LINK_LIFETIME = timedelta(hours=8)


@click.command("demo")
@click.option("--fill-only", is_flag=True, help="Fill the store and do not serve.")
def demo_command(fill_only: bool) -> None:
    """Fill an empty data folder with an invented fleet and its history, then serve.

    A data folder that holds the demo already is served as it is.
    """
    link = with_services(_prepare)
    if fill_only:
        return
    click.echo(f"Sign in once, within 8 hours: {link}")
    run_service(read_settings())


async def _prepare(services: Services) -> str:
    if not await is_demo(services):
        started = time.monotonic()
        count = await fill_with_demo(services, _show_progress)
        seconds = time.monotonic() - started
        click.echo(f"Stored {count} reports of an invented fleet in {seconds:.0f} s.")
    token = await make_single_sign_in(services, OPERATOR, LINK_LIFETIME)
    settings = services.settings
    base = settings.pages_url
    return base + sign_in_path(token)


def _show_progress(done: int, total: int) -> None:
    # One line, written over itself.
    click.echo(f"\r  {done:>6} of {total} reports", err=True, nl=done == total)
