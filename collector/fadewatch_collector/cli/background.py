"""The process that works behind the service's intake; the service starts it."""

import asyncio
import logging
import signal
import sys

import click

from fadewatch_collector.cli.context import fail, read_settings
from fadewatch_collector.cli.logs import start_logging
from fadewatch_collector.jobs.background_process import COMMAND, work_in_background
from fadewatch_collector.settings import Settings
from fadewatch_collector.usecases.services import open_services
from fadewatch_common.errors import FadewatchError

log = logging.getLogger(__name__)


@click.command(COMMAND, hidden=True)
def background_command() -> None:
    """File, assess, send and keep the clock until standard input is closed."""
    # A terminal sends it to both; the service ends this one when it ends.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    settings = read_settings()
    start_logging(settings.log_level, settings.log)
    try:
        asyncio.run(_work(settings))
    except FadewatchError as problem:
        fail(str(problem))
    except Exception:
        # The service tells only that it ended, and starts it again.
        log.exception("the work in the background broke off")
        sys.exit(1)


async def _work(settings: Settings) -> None:
    services = open_services(settings)
    try:
        await work_in_background(services)
    finally:
        await services.store.close()
