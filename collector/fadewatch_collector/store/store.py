"""The open store: connections for reading and, one at a time, for writing."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from time import perf_counter
from typing import Any

from sqlalchemy import Connection, event, make_url
from sqlalchemy.ext.asyncio import AsyncConnection, AsyncEngine, create_async_engine

from fadewatch_collector.store.server_settings import KEPT_ALIVE, asking_for
from fadewatch_collector.store.sqlite_connection import prepare_sqlite
from fadewatch_collector.store.trouble import told_as_trouble
from fadewatch_collector.store.write_turns import WriteTurns

_WRITE = {"fadewatch_write": True}


WriteConnection = AsyncConnection
"""A connection inside a write transaction; layers above need no name of SQL."""


class Store:
    """A database with its write gate.

    SQLite has one writer at a time. Writers of this process queue at the gate, fairly
    and without polling; processes (intake, the background, a command) take turns.

    Attributes
    ----------
    filing_gate
        Held by who files reports in this process, where the store has no other.
    """

    def __init__(self, engine: AsyncEngine) -> None:
        self.engine = engine
        self.filing_gate = asyncio.Lock()
        self._gate = asyncio.Lock()
        self._turns = WriteTurns(Path(self.path)) if self.is_sqlite else None
        self.on_wait: Callable[[str, float], None] = lambda _access, _seconds: None
        """Told of each wait for a connection: 'reading' or 'writing', and how long."""

    @property
    def is_sqlite(self) -> bool:
        """Say whether the store is a SQLite file."""
        return self.engine.dialect.name == "sqlite"

    @property
    def path(self) -> str:
        """Return the path of the SQLite file."""
        path = self.engine.url.database
        if not self.is_sqlite or path is None:
            raise TypeError("only a SQLite store has a file")
        return path

    @asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        """Hold the write gate without a connection: who waits, waits in line."""
        async with self._gate:
            if self._turns is None:
                yield
                return
            async with self._turns.turn():
                yield

    @asynccontextmanager
    async def reading(self) -> AsyncIterator[AsyncConnection]:
        """Give a connection for reading: one steady view until it is given back."""
        asked = perf_counter()
        with told_as_trouble() as progress:
            async with self.engine.begin() as connection:
                progress.is_connected = True
                self.on_wait("reading", perf_counter() - asked)
                yield connection

    @asynccontextmanager
    async def writing(self) -> AsyncIterator[AsyncConnection]:
        """Give a connection in a write transaction; it commits when the block ends."""
        asked = perf_counter()
        with told_as_trouble() as progress:
            if not self.is_sqlite:
                async with self.engine.begin() as connection:
                    progress.is_connected = True
                    self.on_wait("writing", perf_counter() - asked)
                    yield connection
                return
            async with self.turn(), self.engine.connect() as plain:
                connection = await plain.execution_options(**_WRITE)
                async with connection.begin():
                    progress.is_connected = True
                    self.on_wait("writing", perf_counter() - asked)
                    yield connection

    async def close(self) -> None:
        """Close every connection."""
        await self.engine.dispose()
        if self._turns is not None:
            self._turns.close()


def open_store(url: str) -> Store:
    """Make the store for a database address; nothing is connected yet.

    Parameters
    ----------
    url
        ``sqlite:///FILE`` or ``postgresql://...``; the asynchronous driver is chosen
        here.
    """
    # hide_parameters: a logged error tells the statement, never names or secrets.
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        parsed = parsed.set(drivername="sqlite+aiosqlite")
        engine = create_async_engine(parsed, hide_parameters=True)
        _prepare_engine(engine)
    else:
        parsed = parsed.set(drivername="postgresql+asyncpg")
        engine = create_async_engine(parsed, hide_parameters=True, pool_pre_ping=True)
        _prepare_sessions(engine)
    return Store(engine)


def sqlite_url(path: Path) -> str:
    """Return the address of a SQLite file."""
    return f"sqlite:///{path}"


def _prepare_sessions(engine: AsyncEngine) -> None:
    @event.listens_for(engine.sync_engine, "connect")
    def on_connect(dbapi_connection: Any, _record: object) -> None:
        cursor = dbapi_connection.cursor()
        cursor.execute(asking_for(KEPT_ALIVE))
        cursor.close()
        dbapi_connection.commit()


def _prepare_engine(engine: AsyncEngine) -> None:
    @event.listens_for(engine.sync_engine, "connect")
    def on_connect(dbapi_connection: Any, _record: object) -> None:
        # The driver's own BEGIN comes too late and is never IMMEDIATE: a reader that
        # then writes would fail at once instead of waiting for its turn.
        dbapi_connection.isolation_level = None
        prepare_sqlite(dbapi_connection)

    @event.listens_for(engine.sync_engine, "begin")
    def on_begin(connection: Connection) -> None:
        write = connection.get_execution_options().get("fadewatch_write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")
