"""Writers of several processes on one SQLite file take turns.

SQLite lets one that waits look again after up to 100 ms, so who writes without a pause
would keep everybody else out. Here who waits stands in the doorway, and who has just
written comes after him. It is for fairness alone, SQLite keeps writers apart: whoever
cannot have his turn goes on without.
"""

import asyncio
import fcntl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from time import monotonic
from typing import IO

from fadewatch_collector.store.file_locks import is_taken

LOOK_S = 0.001
"""How often one that waits looks [s]: a commit takes some milliseconds. Own choice."""

PATIENCE_S = 5.0
"""Longest wait before one goes on without its turn [s]: its holder may be frozen, or
compact the store. Own choice."""


class WriteTurns:
    """The turns of one process, which has one writer at a time.

    Parameters
    ----------
    store
        The SQLite file; the locks stand beside it.
    """

    def __init__(self, store: Path) -> None:
        self._paths = [
            store.with_name(f"write-{name}.lock") for name in ("next", "now")
        ]
        self._files: list[IO[str]] = []

    @asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        """Have the turn while the block runs; the system takes it back from the dead."""
        try:
            doorway, room = self._opened()
        except OSError:
            # No room even for an empty file.
            yield
            return
        until = monotonic() + PATIENCE_S
        try:
            for lock in (doorway, room):
                await _take(lock, until)
            _let_go(doorway)
            yield
        finally:
            _let_go(doorway)
            _let_go(room)

    def close(self) -> None:
        """Close the files."""
        for file in self._files:
            file.close()
        self._files.clear()

    def _opened(self) -> list[IO[str]]:
        for path in self._paths[len(self._files) :]:
            self._files.append(path.open("w"))
        return self._files


async def _take(lock: IO[str], until: float) -> None:
    while not is_taken(lock):
        if monotonic() > until:
            return
        await asyncio.sleep(LOOK_S)


def _let_go(lock: IO[str]) -> None:
    with suppress(OSError):
        fcntl.flock(lock, fcntl.LOCK_UN)
