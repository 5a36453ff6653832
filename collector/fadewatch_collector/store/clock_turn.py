"""Whose turn it is to run the clock, when several collectors share a database."""

import asyncio
import logging
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.server_settings import asking_for
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.trouble import told_as_trouble

log = logging.getLogger(__name__)

CLOCK_KEY = 0x46414445
"""Number of the advisory lock: "FADE" in ASCII. Own choice."""

LOOK_S = 5.0
"""How often a holder looks whether it still holds the clock, and the others whether
it has become free [s]. Own choice."""

SILENT_S = 15
"""After how long without a word from its holder the server frees the clock [s]: a
machine that vanished, froze or lost its network closes no connection. With `LOOK_S` the
clock moves within 20 s. Own choice."""

_SERVER_SETTINGS = {
    "application_name": f"fadewatch clock {os.getpid()}",
    "idle_session_timeout": f"{SILENT_S}s",
    # For servers without the line above, which is PostgreSQL 14's: the peer is asked
    # after 5 s, three times, and data may go unacknowledged as long as that.
    "tcp_keepalives_idle": "5",
    "tcp_keepalives_interval": "3",
    "tcp_keepalives_count": "3",
    "tcp_user_timeout": f"{SILENT_S}s",
}


@asynccontextmanager
async def clock_turn(store: Store) -> AsyncIterator[asyncio.Event | None]:
    """Hold the clock while the block runs; None when it is another collector's.

    The event given is set when the turn is lost with its connection. On SQLite it is
    always this collector's turn: the data folder has one service. On PostgreSQL a
    session's advisory lock decides, which the server frees when the holder dies.
    """
    lost = asyncio.Event()
    if store.is_sqlite:
        yield lost
        return
    with told_as_trouble() as progress:
        async with _alone(store) as alone:
            progress.is_connected = True
            async with _turn(alone, lost) as turn:
                yield turn


@asynccontextmanager
async def _alone(store: Store) -> AsyncIterator[AsyncConnection]:
    async with store.engine.connect() as connection:
        # Each statement for itself: an open transaction would hold back vacuuming.
        yield await connection.execution_options(isolation_level="AUTOCOMMIT")


@asynccontextmanager
async def _turn(
    alone: AsyncConnection, lost: asyncio.Event
) -> AsyncIterator[asyncio.Event | None]:
    query = text("SELECT pg_try_advisory_lock(:key)")
    if not await alone.scalar(query, {"key": CLOCK_KEY}):
        yield None
        return
    try:
        await _ask_to_be_watched(alone)
        watch = asyncio.create_task(_watch(alone, lost))
        try:
            yield lost
        finally:
            watch.cancel()
            await asyncio.gather(watch, return_exceptions=True)
    finally:
        # Closing frees the clock. The connection is not used again: the server would
        # end it as soon as it rests.
        await alone.invalidate()


async def _ask_to_be_watched(connection: AsyncConnection) -> None:
    """Let the server end this session soon when nothing is heard from it."""
    await connection.execute(text(asking_for(_SERVER_SETTINGS)))


async def _watch(connection: AsyncConnection, lost: asyncio.Event) -> None:
    """Set the event when the connection, and so its lock, is gone."""
    while True:
        await asyncio.sleep(LOOK_S)
        try:
            # A server that vanished does not answer either.
            async with asyncio.timeout(LOOK_S):
                await connection.execute(text("SELECT 1"))
        except (SQLAlchemyError, OSError, TimeoutError):
            log.warning("the clock was lost with its connection to the database")
            lost.set()
            return
