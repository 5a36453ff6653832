"""One service per data folder, and one that works in the background: locks on files."""

import asyncio
import logging
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path

from fadewatch_collector.errors import StoreIsBusy
from fadewatch_collector.store.file_locks import is_taken
from fadewatch_collector.store.store import Store

log = logging.getLogger(__name__)

LOOK_S = 0.1
"""How often one that waits looks whether the lock is free [s]. Own choice."""


@contextmanager
def held_folder(folder: Path) -> Iterator[None]:
    """Hold the data folder for one service; the system lets go when it dies.

    Raises
    ------
    StoreIsBusy
        Another service holds it.
    """
    with (folder / "serve.lock").open("w") as lock:
        if not is_taken(lock):
            raise StoreIsBusy(folder)
        yield


@asynccontextmanager
async def alone_in_background(store: Store) -> AsyncIterator[None]:
    """Wait until nobody else files, sends or keeps the clock on a SQLite store.

    The background process of a service that was killed ends after its batch in hand;
    the next one must not begin before. On PostgreSQL several may work side by side.
    """
    if not store.is_sqlite:
        yield
        return
    with Path(store.path).with_name("background.lock").open("w") as lock:
        is_told = False
        while not is_taken(lock):
            if not is_told:
                log.info("another process still works on the store; waiting for it")
                is_told = True
            await asyncio.sleep(LOOK_S)
        yield
