"""Whose turn it is to change the schema, when collectors share a database."""

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from sqlalchemy import text
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.store import Store
from fadewatch_collector.store.trouble import told_as_trouble

log = logging.getLogger(__name__)

SCHEMA_KEY = 0x46574603
"""Number of the advisory lock, beside those of `turns`. Own choice."""

LOOK_S = 0.5
"""How often one that waits looks whether it is its turn [s]. Own choice."""


@asynccontextmanager
async def schema_turn(store: Store) -> AsyncIterator[None]:
    """Hold the schema of a PostgreSQL store while the block runs; wait for it before.

    It is a session's lock: the server frees it when its holder dies. Who waits asks
    again and again instead of inside one statement, because an index that is built
    concurrently waits for every statement that began before it, and would wait for
    this one for ever.
    """
    with told_as_trouble() as progress:
        async with store.engine.connect() as plain:
            # Each statement for itself: an open transaction would be waited for too.
            alone = await plain.execution_options(isolation_level="AUTOCOMMIT")
            progress.is_connected = True
            await _wait_for_turn(alone)
            try:
                yield
            finally:
                await alone.execute(
                    text("SELECT pg_advisory_unlock(:key)"), {"key": SCHEMA_KEY}
                )


async def _wait_for_turn(alone: AsyncConnection) -> None:
    query = text("SELECT pg_try_advisory_lock(:key)")
    is_told = False
    while not await alone.scalar(query, {"key": SCHEMA_KEY}):
        if not is_told:
            log.info("another collector upgrades the store; waiting for it")
            is_told = True
        await asyncio.sleep(LOOK_S)
