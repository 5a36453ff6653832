"""The process that writes groups of reports to SQLite, and nothing else.

The service starts it, with one end of a pair of sockets: one group at a time comes
through it, and what became of the group goes back. It ends when the service closes its
end, or has died. Few modules are imported here: they are most of its memory.
"""

import os
import pickle
import signal
import sqlite3
import sys
from traceback import format_exc
from typing import IO

from fadewatch_collector.store.report_group import NewReport
from fadewatch_collector.store.sqlite_connection import connect_sqlite
from fadewatch_collector.store.sqlite_group import QUEUE, write_group

LENGTH_BYTES = 8
"""Stand before each message and say how long it is."""


def packed(value: object) -> bytes:
    """Return a value as a message, its length before it."""
    told = pickle.dumps(value, pickle.HIGHEST_PROTOCOL)
    return len(told).to_bytes(LENGTH_BYTES) + told


def main() -> None:
    """Be the process: write what comes in until the service closes its end, or dies."""
    # A terminal, or who manages services, sends them to both. The service still has
    # reports to be written when it ends, and lets this one end after them.
    for ignored in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(ignored, signal.SIG_IGN)
    work = _Work(sys.argv[1])
    with os.fdopen(0, "rb") as asked, os.fdopen(1, "wb") as told:
        while (message := _message(asked)) is not None:
            try:
                told.write(packed(work.answer(message)))
                told.flush()
            except BrokenPipeError:
                return


def _message(asked: IO[bytes]) -> bytes | None:
    length = asked.read(LENGTH_BYTES)
    if len(length) < LENGTH_BYTES:
        return None
    count = int.from_bytes(length)
    message = asked.read(count)
    return message if len(message) == count else None


class _Work:
    def __init__(self, path: str) -> None:
        self._path = path
        self._connection: sqlite3.Connection | None = None

    def answer(self, message: bytes) -> object:
        """Write a group; returns what became of it, or the error."""
        # From the service that started this process.
        reports, keys, now = pickle.loads(message)  # noqa: S301
        group = [NewReport(*one) for one in reports]
        try:
            if self._connection is None:
                self._connection = connect_sqlite(self._path, QUEUE)
            written = write_group(self._connection, group, keys, now)
        except Exception as problem:  # noqa: BLE001  it is raised at the other end
            if not isinstance(problem, sqlite3.OperationalError):
                problem.add_note(f"in the process that writes reports: {format_exc()}")
            return problem
        return written.new, dict(written.keys)


if __name__ == "__main__":
    main()
