"""A thread with a SQLite connection of its own, for statements asked all the time."""

import asyncio
import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from fadewatch_collector.store.sqlite_connection import connect_sqlite
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.trouble import told_as_driver_trouble

Told = TypeVar("Told")


class SqliteThread:
    """Runs work with the connection, one piece after the other.

    Parameters
    ----------
    once
        Statement run when the connection is made.
    """

    def __init__(self, store: Store, name: str, once: str = "") -> None:
        self._store = store
        self._once = once
        self._thread = ThreadPoolExecutor(1, thread_name_prefix=name)
        self._connection: sqlite3.Connection | None = None

    async def run(self, work: Callable[[sqlite3.Connection], Told]) -> Told:
        """Return what work with the connection gives; it is opened with the first.

        Raises
        ------
        StoreTrouble
            The database cannot work now.
        """
        loop = asyncio.get_running_loop()
        with told_as_driver_trouble():
            return await loop.run_in_executor(
                self._thread, lambda: work(self._opened())
            )

    async def close(self) -> None:
        """Let go of the file, and of the thread."""
        await asyncio.get_running_loop().run_in_executor(self._thread, self._close)
        self._thread.shutdown(wait=False)

    def _opened(self) -> sqlite3.Connection:
        if self._connection is None:
            self._connection = connect_sqlite(self._store.path, self._once)
        return self._connection

    def _close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None
