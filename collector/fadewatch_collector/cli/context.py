"""Run a command's work with the store open, and word its errors for a person."""

import asyncio
import sys
from collections.abc import Awaitable, Callable
from typing import NoReturn, TypeVar

import click
from pydantic import ValidationError

from fadewatch_collector.rules.messages import one_line
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.usecases.services import Services, open_services
from fadewatch_common.errors import FadewatchError

Result = TypeVar("Result")


def with_services(work: Callable[[Services], Awaitable[Result]]) -> Result:
    """Open the store, bring it up to date, do the work, close the store.

    An error that Fadewatch can explain becomes one line on standard error and exit
    code 1.
    """
    settings = read_settings()
    make_folder(settings)

    async def run() -> Result:
        services = open_services(settings)
        try:
            await upgrade(services.store)
            return await work(services)
        finally:
            await services.store.close()

    try:
        return asyncio.run(run())
    except FadewatchError as problem:
        fail(str(problem))


def read_settings() -> Settings:
    """Read the settings from the environment; a wrong one is named and exit code 2."""
    try:
        return Settings()
    except ValidationError as problem:
        first = problem.errors()[0]
        name = "FADEWATCH_" + "_".join(map(str, first["loc"])).upper()
        fail(f"{name}: {first['msg']}", code=2)


def make_folder(settings: Settings) -> None:
    """Make the data folder, readable by its owner only."""
    folder = settings.data_folder
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as problem:
        fail(
            f"the data folder {folder} cannot be made ({problem.strerror}). Set "
            "FADEWATCH_DATA_FOLDER to a folder that you may write to."
        )


_LONGEST_LINE = 1_000
"""Longest line of a complaint [characters]: it may quote a file. Own choice."""


def fail(message: str, code: int = 1) -> NoReturn:
    """End the command with one line on standard error.

    What the message quotes of a file does nothing to a terminal.
    """
    told = "\n".join(one_line(line, _LONGEST_LINE) for line in message.splitlines())
    click.echo(f"fadewatch-collector: {told}", err=True)
    sys.exit(code)
