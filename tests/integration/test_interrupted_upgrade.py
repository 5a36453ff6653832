"""kill -9 of an upgrade at any point leaves a store that the next one completes."""

import asyncio
import os
import signal
import subprocess
import sys
from collections.abc import Awaitable, Callable

import pytest
from sqlalchemy import MetaData

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import known_revisions, revisions, upgrade
from fadewatch_collector.store.store import open_store
from tests.integration.postgres import DATABASES
from tests.old_store import ROWS, differences, fill, read, tables_of

ON = DATABASES

DYING = """
import os, signal, sys
from sqlalchemy import Engine, event

left = int(sys.argv.pop(1))

@event.listens_for(Engine, "before_cursor_execute")
def count(connection, cursor, statement, *_):
    # What only looks is no point at which anything could be left half done.
    global left
    left -= not statement.lstrip().upper().startswith(("SELECT", "PRAGMA"))
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)

from fadewatch_collector.cli.main import main
main(["database", *sys.argv[1:]])
"""
"""The real command, which kills its own process in front of its Nth change."""

KILLED_AT = (1, 20, 43)
"""Changes in front of which it dies [count]: of the schema, of rows, of the revision."""

NEVER = 1_000_000


def upgrading(settings: Settings, dies_at: int) -> subprocess.CompletedProcess[str]:
    """Run the upgrade as a process that dies at a point."""
    url = settings.database_url
    environment = os.environ | {"FADEWATCH_DATA_FOLDER": str(settings.data_folder)}
    if url is not None:
        environment["FADEWATCH_DATABASE_URL"] = url.get_secret_value()
    return subprocess.run(
        [sys.executable, "-c", DYING, str(dies_at), "upgrade"],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.timeout(120)
async def test_an_upgrade_killed_at_any_point_is_completed_by_the_next(
    empty_store: Callable[[], Awaitable[Settings]],
) -> None:
    settings = await empty_store()
    oldest = known_revisions()[0]
    store = open_store(settings.store_url)
    await upgrade(store, to=oldest)
    async with store.writing() as connection:
        tables = await connection.run_sync(tables_of, MetaData())
        written = await connection.run_sync(fill, tables, 0)
    await store.close()

    for point in KILLED_AT:
        died = await asyncio.to_thread(upgrading, settings, point)
        assert died.returncode == -signal.SIGKILL, died.stdout + died.stderr
        # It can be opened, and it says how far it has come.
        assert (await revisions(store)).found in known_revisions()
        await store.close()
    done = await asyncio.to_thread(upgrading, settings, NEVER)

    assert done.returncode == 0, done.stderr
    found = await revisions(store)
    assert found.found == found.known
    async with store.reading() as connection:
        assert await connection.run_sync(differences) == []
        tables = await connection.run_sync(tables_of, MetaData())
        after = await connection.run_sync(read, tables)
    await store.close()
    kept = {table: len(rows) for table, rows in after.items() if table in written}
    assert kept == dict.fromkeys(written, ROWS)
