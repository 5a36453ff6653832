"""Write groups of reports to SQLite, on a thread and a connection of their own.

A group is one hop to the thread. There every statement runs in one step and gives at
most one row back: between steps the thread would have to wait for the interpreter,
which the event loop needs at the same time.
"""

import json
import sqlite3
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any, Self

from fadewatch_collector.store.report_group import NewReport, Written
from fadewatch_collector.store.sqlite_thread import SqliteThread
from fadewatch_collector.store.store import Store

_KEYS = """
    SELECT json_group_object(id, renewal_asked_at IS NOT NULL) FROM agent_keys
    WHERE id IN (SELECT value FROM json_each(?)) AND revoked_at IS NULL
"""
_KNOWN = """
    SELECT json_group_array(report_id) FROM reports
    WHERE report_id IN (SELECT value FROM json_each(?))
"""
_STORE = (
    "INSERT INTO reports (report_id, laptop_id, measured_at, received_at, body) VALUES"
)
_QUEUE = """
    INSERT INTO filing_queue (report_id, laptop_id)
    SELECT json_extract(value, '$[0]'), json_extract(value, '$[1]') FROM json_each(?)
"""


class SqliteWriter:
    """Writes groups of reports to a SQLite file."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._thread = SqliteThread(store, "reports")

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
                lambda connection: _write(connection, group, keys, now)
            )


def _write(
    connection: sqlite3.Connection,
    group: Sequence[NewReport],
    keys: Collection[int],
    now: datetime,
) -> Written:
    with _transaction(connection):
        valid = {
            int(key): bool(asked)
            for key, asked in _told(connection, _KEYS, list(keys)).items()
        }
        # Of reports with one id the first that may be stored is.
        sent: dict[str, NewReport] = {}
        for report in group:
            if report.key_id is None or report.key_id in valid:
                sent.setdefault(report.report_id, report)
        if sent and not _all_stored(connection, sent, now):
            # Nobody else can write before this transaction ends, so what is not
            # there now is new.
            for known in _told(connection, _KNOWN, list(sent)):
                del sent[known]
            if sent:
                _store(connection, sent.values(), now)
        if sent:
            _queue(connection, sent.values())
    return Written(set(sent), valid)


@contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        # Some errors, a full disk for one, have ended it already.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _all_stored(
    connection: sqlite3.Connection, sent: Mapping[str, NewReport], now: datetime
) -> bool:
    """Store reports if none is there yet, as nearly always; else none of them."""
    try:
        _store(connection, sent.values(), now)
    except sqlite3.IntegrityError:
        return False
    return True


def _store(
    connection: sqlite3.Connection, fresh: Collection[NewReport], now: datetime
) -> None:
    received = _moment(now)
    values: list[str | int] = []
    for report in fresh:
        values += (
            report.report_id,
            report.laptop_id,
            _moment(report.measured_at),
            received,
            report.body,
        )
    rows = ",".join(["(?,?,?,?,?)"] * len(fresh))
    connection.execute(f"{_STORE} {rows}", values)


def _queue(connection: sqlite3.Connection, fresh: Collection[NewReport]) -> None:
    # In the order received.
    queued = [(report.report_id, report.laptop_id) for report in fresh]
    connection.execute(_QUEUE, (json.dumps(queued),))


def _told(connection: sqlite3.Connection, query: str, about: Sequence[object]) -> Any:
    """Return the JSON that a query about a list gives in its one row."""
    (row,) = connection.execute(query, (json.dumps(about),))
    return json.loads(row[0])


def _moment(moment: datetime) -> str:
    """Write a moment as the column type ``Moment`` does on SQLite."""
    utc = moment.astimezone(UTC).replace(tzinfo=None)
    return utc.isoformat(" ", "microseconds")
