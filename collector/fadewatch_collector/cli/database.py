"""The store itself: bring it up to date, check it, back it up, restore it."""

import asyncio
import json
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

import click

from fadewatch_collector.cli.context import fail, make_folder, read_settings
from fadewatch_collector.cli.progress import progress
from fadewatch_collector.errors import StoreIsBusy, StoreIsNewer
from fadewatch_collector.store.compacting import compact
from fadewatch_collector.store.lock import held_folder
from fadewatch_collector.store.schema import (
    Revisions,
    known_revisions,
    revisions,
    upgrade,
)
from fadewatch_collector.store.soundness import Checked
from fadewatch_collector.usecases.backup import back_up, backup_file
from fadewatch_collector.usecases.restore import Restored, restore
from fadewatch_collector.usecases.services import Services, open_services
from fadewatch_collector.usecases.store_check import StoreCheck, check_store
from fadewatch_common.errors import FadewatchError

NOT_SOUND = 7
"""Exit code when a check found something."""

WAIT_S = 15.0
"""How long an upgrade waits for another one of the same data folder [s]. Own choice."""

Result = TypeVar("Result")

_tools = click.option(
    "--tools",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Where pg_dump and pg_restore are, when not where they usually are.",
)


@click.group("database")
def database_group() -> None:
    """Bring the store up to date, check it, back it up, restore it."""


@database_group.command("upgrade")
def upgrade_command() -> None:
    """Bring the store to this program's schema; 'serve' does it too.

    A store that a newer Fadewatch wrote is refused and left alone. What was
    interrupted is gone on with when it is run again.
    """
    click.echo(_on_store(_upgrade, must_exist=False))


async def _upgrade(services: Services) -> str:
    store = services.store
    if not store.is_sqlite:
        return _told(await upgrade(store))
    deadline = time.monotonic() + WAIT_S
    while True:
        found = await revisions(store)
        if found.found == found.known:
            return _told(found)
        if found.found is not None and found.found not in known_revisions():
            raise StoreIsNewer(found.found, found.known)
        try:
            with held_folder(services.settings.data_folder):
                return _told(await upgrade(store))
        except StoreIsBusy:
            # Another upgrade is over soon; an older service that runs is not.
            if time.monotonic() > deadline:
                raise
        await asyncio.sleep(0.2)


def _told(before: Revisions) -> str:
    if before.found == before.known:
        return f"The store is at revision {before.known}, the newest: nothing to do."
    return f"The store went from {before.found or 'empty'} to revision {before.known}."


@database_group.command("check")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def check_command(*, as_json: bool) -> None:
    """Look whether the store is whole and holds what must hold; changes nothing.

    The service may go on beside it. Exit code 0: nothing was found; 7: something was;
    1: it could not be checked.
    """

    async def work(services: Services) -> StoreCheck:
        return await check_store(services.store, _ignore if as_json else _show)

    told = _on_store(work)
    if as_json:
        click.echo(json.dumps(told.to_plain(), ensure_ascii=False, indent=1))
    else:
        click.echo(_verdict(told))
    if not told.is_sound:
        raise SystemExit(NOT_SOUND)


def _ignore(_one: Checked) -> None:
    """Say nothing: all of it is told at the end."""


def _show(one: Checked) -> None:
    if one.left_out is not None:
        click.echo(f"not looked at: {one.what}: {one.left_out}")
        return
    click.echo(f"{one.found:>6,}  {one.what}")
    for example in one.examples:
        click.echo(f"        {example}")


def _verdict(told: StoreCheck) -> str:
    at = f"revision {told.revision or 'none'}"
    if not told.is_sound:
        return (
            f"NOT SOUND ({at}). Stop the service, keep a copy of the store as it is, "
            "and restore the newest backup that checks well."
        )
    if not told.is_current:
        return f"Nothing was found ({at}); bring it up to date to have all checked."
    return f"Nothing was found ({at})."


@database_group.command("compact")
def compact_command() -> None:
    """Give freed space back, so that deleted data is nowhere in the files any more.

    SQLite needs as much free room as the store has, and reports wait meanwhile.
    """

    async def work(services: Services) -> None:
        await compact(services.store)

    _on_store(work)
    click.echo("The store is compact.")


@database_group.command("backup")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE",
    help="File to write, which must not be there yet; a folder gets one by the time.",
)
@_tools
def backup_command(out: Path, tools: Path | None) -> None:
    """Write the store as it is at this moment to FILE, while the service goes on.

    Beside it stands FILE.manifest.json with its SHA-256 and the rows of each table:
    keep both. They hold hashes of passwords and keys; only their owner may read them.
    """

    async def work(services: Services) -> Path:
        target = backup_file(services, out)
        with _pages() as on_pages:
            await back_up(services, target, tools, on_pages)
        return target

    target = _on_store(work)
    click.echo(f"{target} is written, {target.stat().st_size:,} bytes.")


@contextmanager
def _pages() -> Iterator[Callable[[int, int], None]]:
    """Show how much of the store is copied."""
    with progress("copying", 100) as advance:
        shown = 0

        def on_pages(left: int, whole: int) -> None:
            nonlocal shown
            now = 100 - 100 * left // max(whole, 1)
            if advance is not None and now > shown:
                advance(now - shown)
                shown = now

        yield on_pages


@database_group.command("restore")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--replace",
    is_flag=True,
    help="Where there is a store already: put it aside, and keep it.",
)
@_tools
def restore_command(file: Path, *, replace: bool, tools: Path | None) -> None:
    """Restore a backup into a fresh data folder or an empty database, and check it.

    Its checksum is compared first. A store that is there is left alone, unless
    --replace puts it aside.
    """

    async def work(services: Services) -> tuple[Restored, StoreCheck]:
        restored = await restore(services, file, tools, replace=replace)
        return restored, await check_store(services.store)

    restored, told = _on_store(work, must_exist=False)
    rows = sum(restored.manifest.rows.values())
    click.echo(f"Restored as of {restored.manifest.made_at}: {rows:,} rows.")
    if restored.put_aside is not None:
        click.echo(f"What was there before is kept as {restored.put_aside}.")
    for one in told.checks:
        if one.found:
            _show(one)
    click.echo(_verdict(told))
    if not told.is_sound:
        raise SystemExit(NOT_SOUND)


def _on_store(
    work: Callable[[Services], Awaitable[Result]], *, must_exist: bool = True
) -> Result:
    """Do some work on the store as it is: nothing is brought up to date before."""
    settings = read_settings()
    make_folder(settings)
    services = open_services(settings)
    store = services.store
    if must_exist and store.is_sqlite and not Path(store.path).is_file():
        fail(f"there is no store at {store.path}")

    async def run() -> Result:
        try:
            return await work(services)
        finally:
            await store.close()

    try:
        return asyncio.run(run())
    except FadewatchError as problem:
        fail(str(problem))
    except OSError as problem:
        fail(f"{problem.filename or 'a file'}: {problem.strerror or problem}")
