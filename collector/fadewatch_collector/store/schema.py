"""Bring a store to this collector's schema, and refuse what is newer."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from functools import cache

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.errors import StoreIsNewer
from fadewatch_collector.store.schema_turn import schema_turn
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.trouble import told_as_trouble


@dataclass(frozen=True, slots=True)
class Revisions:
    """The store's revision (None when it is empty) and the collector's own."""

    found: str | None
    known: str


async def revisions(store: Store) -> Revisions:
    """Read which revision the store is at."""
    async with store.reading() as connection:
        found = await connection.run_sync(_found)
    return Revisions(found, newest_revision())


async def upgrade(store: Store, to: str = "head") -> Revisions:
    """Apply what is missing; return the revisions from before.

    SQLite applies all of it in one transaction. PostgreSQL commits each migration for
    itself, and some in steps, so that tables are locked for moments only: what was
    interrupted goes on where it stopped when it is started again. One collector
    upgrades at a time; another one waits, and then finds nothing left to do.

    Parameters
    ----------
    to
        The revision to stop at.

    Raises
    ------
    StoreIsNewer
        The store was written by a newer collector; nothing is changed.
    """
    before = await _known_revisions(store)
    if before.found == before.known:
        return before
    if store.is_sqlite:
        async with store.writing() as connection:
            await connection.run_sync(_apply, to)
        return before
    async with schema_turn(store):
        # Another collector may have done it, or a newer one more, while we waited.
        if (await _known_revisions(store)).found != before.known:
            async with _plain_connection(store) as connection:
                await connection.run_sync(_apply, to)
    return before


def is_behind(found: str | None) -> bool:
    """Say whether a store at a revision lacks what this collector's migrations make."""
    return found is None or found in _older()


@cache
def _older() -> frozenset[str]:
    script = _script()
    every = {step.revision for step in script.walk_revisions()}
    return frozenset(every - {script.get_current_head()})


def newest_revision() -> str:
    """Return the revision that this collector brings a store to."""
    return _script().get_current_head() or ""


def known_revisions() -> list[str]:
    """Return every revision that a store may have been left at, oldest first."""
    return [script.revision for script in _script().walk_revisions()][::-1]


async def _known_revisions(store: Store) -> Revisions:
    found = await revisions(store)
    if found.found is not None and not _is_known(found.found):
        raise StoreIsNewer(found.found, found.known)
    return found


@asynccontextmanager
async def _plain_connection(store: Store) -> AsyncIterator[AsyncConnection]:
    """Give a connection that is in no transaction: migrations begin their own."""
    with told_as_trouble() as progress:
        async with store.engine.connect() as connection:
            progress.is_connected = True
            yield connection


def _script() -> ScriptDirectory:
    return ScriptDirectory.from_config(_config())


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", "fadewatch_collector.store:migrations")
    return config


def _found(connection: Connection) -> str | None:
    return MigrationContext.configure(connection).get_current_revision()


def _is_known(revision: str) -> bool:
    try:
        return _script().get_revision(revision) is not None
    except CommandError:
        return False


def _apply(connection: Connection, to: str) -> None:
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, to)
