"""Have groups of reports written to SQLite by a process that does nothing else.

A thread would have to wait for the interpreter before and after each step of the
database, and the event loop for the thread: a fifth of what both do for a report.
"""

import asyncio
import logging
import pickle
import socket
import sys
from asyncio.subprocess import Process
from collections.abc import Callable, Collection, Sequence
from datetime import datetime
from typing import Any

from fadewatch_collector.store import writing_process
from fadewatch_collector.store.report_group import NewReport, Written
from fadewatch_collector.store.writing_process import LENGTH_BYTES, packed

log = logging.getLogger(__name__)

BUFFER_BYTES = 1 << 20
"""Asked of the system for the way there [bytes]: a group then goes at once. Own choice;
the system's own limit may be lower."""

END_S = 15.0
"""How long the process may take to end [s]: it has nothing in hand then. Own choice."""


class WriterProcess:
    """Has groups written by the process, which it starts, and starts again when it died.

    Parameters
    ----------
    path
        The SQLite file.
    on_death
        Called when the process was found dead with a group to be written.

    Attributes
    ----------
    pid
        Number of the process; None before the first group, and when it has died.
    """

    def __init__(self, path: str, on_death: Callable[[], None] = lambda: None) -> None:
        self._path = path
        self._on_death = on_death
        self._line: _Line | None = None

    @property
    def pid(self) -> int | None:
        """Number of the process."""
        return None if self._line is None else self._line.process.pid

    async def write(
        self, group: Sequence[NewReport], keys: Collection[int], now: datetime
    ) -> Written:
        """Write a group, as `ReportWriter` says; one at a time.

        Raises
        ------
        OSError
            The process cannot be started, or ends again and again.
        sqlite3.Error
            What the database says.
        """
        reports = [
            (one.report_id, one.laptop_id, one.key_id, one.measured_at, one.body)
            for one in group
        ]
        message = packed((reports, list(keys), now))
        try:
            return await self._ask(message)
        except ConnectionError as problem:
            # It was written or was not; if it was, another time changes nothing.
            log.warning("%s; the reports go to another", problem)
            self._on_death()
        return await self._ask(message)

    async def close(self) -> None:
        """Let the process end."""
        if self._line is not None:
            await self._line.close()
            self._line = None

    async def _ask(self, message: bytes) -> Written:
        line = self._line = self._line or await _started(self._path)
        try:
            answer = await line.ask(message)
        except BaseException:
            # Also when this is cancelled: the answer would be taken for the next one's.
            self._line = None
            await line.kill()
            raise
        if isinstance(answer, Exception):
            raise answer
        new, keys = answer
        return Written(new, keys)


class _Line:
    """A running process and the way to it."""

    def __init__(
        self,
        process: Process,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
    ) -> None:
        self.process = process
        self._reader = reader
        self._writer = writer

    async def ask(self, message: bytes) -> Any:
        """Send a message and return the answer."""
        self._writer.write(message)
        try:
            length = int.from_bytes(await self._reader.readexactly(LENGTH_BYTES))
            # From a process of our own, which took it from no one.
            return pickle.loads(await self._reader.readexactly(length))  # noqa: S301
        except (asyncio.IncompleteReadError, ConnectionError) as error:
            code = await self.process.wait()
            how = f"by signal {-code}" if code < 0 else f"with code {code}"
            raise ConnectionResetError(
                f"the process that writes reports ended {how}"
            ) from error

    async def close(self) -> None:
        """Let it end."""
        self._writer.close()
        try:
            async with asyncio.timeout(END_S):
                await self.process.wait()
        except TimeoutError:
            log.warning("the process that writes reports does not end; it is killed")
            await self.kill()

    async def kill(self) -> None:
        """End it at once, whether or not it lives."""
        self._writer.close()
        if self.process.returncode is None:
            self.process.kill()
        await self.process.wait()


async def _started(path: str) -> _Line:
    ours, its = socket.socketpair()
    with its:
        ours.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, BUFFER_BYTES)
        try:
            # Without the present folder among those that modules are taken from.
            process = await asyncio.create_subprocess_exec(
                *(sys.executable, "-P", "-m", writing_process.__name__, path),
                stdin=its.fileno(),
                stdout=its.fileno(),
            )
        except BaseException:
            ours.close()
            raise
    reader, writer = await asyncio.open_connection(sock=ours)
    return _Line(process, reader, writer)
