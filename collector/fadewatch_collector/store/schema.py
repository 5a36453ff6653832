"""Bring a store to this collector's schema, and refuse what is newer."""

from dataclasses import dataclass
from functools import cache

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection

from fadewatch_collector.errors import StoreIsNewer
from fadewatch_collector.store.store import Store


@dataclass(frozen=True, slots=True)
class Revisions:
    """The store's revision (None when it is empty) and the collector's own."""

    found: str | None
    known: str


async def revisions(store: Store) -> Revisions:
    """Read which revision the store is at."""
    async with store.reading() as connection:
        found = await connection.run_sync(_found)
    return Revisions(found, _script().get_current_head() or "")


async def upgrade(store: Store) -> Revisions:
    """Apply what is missing, in one transaction; return the revisions from before.

    Raises
    ------
    StoreIsNewer
        The store was written by a newer collector; nothing is changed.
    """
    before = await revisions(store)
    if before.found is not None and not _is_known(before.found):
        raise StoreIsNewer(before.found, before.known)
    if before.found != before.known:
        async with store.writing() as connection:
            await connection.run_sync(_apply)
    return before


def is_behind(found: str | None) -> bool:
    """Say whether a store at a revision lacks what this collector's migrations make."""
    return found is None or found in _older()


@cache
def _older() -> frozenset[str]:
    script = _script()
    every = {step.revision for step in script.walk_revisions()}
    return frozenset(every - {script.get_current_head()})


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


def _apply(connection: Connection) -> None:
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
