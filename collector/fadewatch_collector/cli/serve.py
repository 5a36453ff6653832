"""Run the collector."""

import asyncio
import contextlib
import signal

import click

from fadewatch_collector.app import Signals, serve
from fadewatch_collector.cli.context import fail, make_folder, read_settings
from fadewatch_collector.cli.logs import start_logging
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.lock import held_folder
from fadewatch_common.errors import FadewatchError


@click.command("serve")
def serve_command() -> None:
    """Run the collector until it is told to stop (Ctrl-C or SIGTERM).

    It listens on FADEWATCH_HOST and FADEWATCH_PORT and keeps its SQLite store in
    FADEWATCH_DATA_FOLDER, unless FADEWATCH_DATABASE_URL names a PostgreSQL database.
    SIGHUP makes it take its TLS certificate anew.
    """
    run_service(read_settings())


def run_service(settings: Settings) -> None:
    """Serve in the foreground; an error that can be explained ends with one line."""
    start_logging(settings.log_level, settings.log)
    make_folder(settings)
    try:
        with held_folder(settings.data_folder):
            asyncio.run(_serve(settings))
    except FadewatchError as problem:
        fail(str(problem))
    except OSError as problem:
        fail(f"cannot serve on {settings.host} port {settings.port}: {problem}")


async def _serve(settings: Settings) -> None:
    signals = Signals()

    def stop() -> None:
        # Told a second time, it waits for nobody.
        (signals.hurry if signals.stop.is_set() else signals.stop).set()

    loop = asyncio.get_running_loop()
    with contextlib.suppress(NotImplementedError):
        loop.add_signal_handler(signal.SIGINT, stop)
        loop.add_signal_handler(signal.SIGTERM, stop)
        loop.add_signal_handler(signal.SIGHUP, signals.renew.set)
    await serve(settings, signals, _announce)


def _announce(address: str) -> None:
    click.echo(f"Fadewatch listens on {address}")
