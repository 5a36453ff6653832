"""Write groups of reports to SQLite: on a thread, or by a process of its own."""

from collections.abc import Callable, Collection, Sequence
from datetime import datetime
from typing import Self

from fadewatch_collector.store.report_group import NewReport, Written
from fadewatch_collector.store.report_process import WriterProcess
from fadewatch_collector.store.sqlite_group import QUEUE, write_group
from fadewatch_collector.store.sqlite_thread import SqliteThread
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.trouble import told_as_driver_trouble


class SqliteWriter:
    """Writes groups of reports to a SQLite file, on a thread with a connection."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._thread = SqliteThread(store, "reports", QUEUE)

    async def __aenter__(self) -> Self:
        """Get ready."""
        return self

    async def __aexit__(self, *_why: object) -> None:
        """Let go of the file."""
        await self._thread.close()

    async def write(
        self, group: Sequence[NewReport], keys: Collection[int], now: datetime
    ) -> Written:
        """Write what is new of a group and came with a valid key."""
        async with self._store.turn():
            return await self._thread.run(
                lambda connection: write_group(connection, group, keys, now)
            )


class SqliteWriterApart:
    """Writes groups of reports to a SQLite file, by a process of its own.

    A group that was written when the process died is written again: its reports are
    durable then, and called duplicates.

    Parameters
    ----------
    on_death
        Called when the process was found dead with a group to be written.
    """

    def __init__(
        self, store: Store, on_death: Callable[[], None] = lambda: None
    ) -> None:
        self._store = store
        self._process = WriterProcess(store.path, on_death)

    @property
    def pid(self) -> int | None:
        """Number of the process; None while it does not run."""
        return self._process.pid

    async def __aenter__(self) -> Self:
        """Get ready; the process starts with the first group."""
        return self

    async def __aexit__(self, *_why: object) -> None:
        """Let the process end."""
        await self._process.close()

    async def write(
        self, group: Sequence[NewReport], keys: Collection[int], now: datetime
    ) -> Written:
        """Write what is new of a group and came with a valid key."""
        async with self._store.turn():
            with told_as_driver_trouble():
                return await self._process.write(group, keys, now)
