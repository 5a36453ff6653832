"""Write a group of reports to SQLite by the driver, in as few steps as can be.

None of the steps gives more than one row back: on a thread the interpreter has to be
waited for after each of them. So the insert is a transaction of its own, which looks at
the keys by itself and queues by a trigger.
"""

import json
import sqlite3
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

from fadewatch_collector.store.report_group import NewReport, Written

QUEUE = """
    CREATE TEMP TRIGGER queue_report AFTER INSERT ON main.reports BEGIN
        INSERT INTO filing_queue (report_id, laptop_id)
        VALUES (NEW.report_id, NEW.laptop_id);
    END
"""
"""Makes a connection queue what it writes; whoever else writes reports queues them itself."""

_KEYS = """
    SELECT json_group_object(id, renewal_asked_at IS NOT NULL) FROM agent_keys
    WHERE id IN (SELECT value FROM json_each(?)) AND revoked_at IS NULL
"""
_KNOWN = """
    SELECT json_group_array(report_id) FROM reports
    WHERE report_id IN (SELECT value FROM json_each(?))
"""
# The rows in their order, which is the one received.
_STORE = """
    WITH sent (report_id, laptop_id, key_id, measured_at, received_at, body)
    AS (VALUES {rows})
    INSERT INTO reports (report_id, laptop_id, measured_at, received_at, body)
    SELECT report_id, laptop_id, measured_at, received_at, body FROM sent
    WHERE key_id IS NULL OR EXISTS (
        SELECT 1 FROM agent_keys WHERE id = key_id AND revoked_at IS NULL)
"""
_ROW = "(?,?,?,?,?,?)"


def write_group(
    connection: sqlite3.Connection,
    group: Sequence[NewReport],
    keys: Collection[int],
    now: datetime,
) -> Written:
    """Write what is new of a group and came with a valid key, as `ReportWriter` says.

    Parameters
    ----------
    connection
        One on which :data:`QUEUE` was run, without a transaction.
    """
    valid = _valid(connection, keys)
    sent = _to_store(group, valid)
    if not sent:
        return Written(set(), valid)
    try:
        stored = _store(connection, sent.values(), now)
    except sqlite3.IntegrityError:
        # Some are there already, which is rare; nothing was stored.
        return _write_new(connection, group, keys, now)
    if stored < len(sent):
        # A key ended since it was looked at. None of these was there before.
        return Written(_known(connection, sent), _valid(connection, keys))
    return Written(set(sent), valid)


def _write_new(
    connection: sqlite3.Connection,
    group: Sequence[NewReport],
    keys: Collection[int],
    now: datetime,
) -> Written:
    """Write what is not there yet: nobody else can write meanwhile."""
    with _transaction(connection):
        valid = _valid(connection, keys)
        sent = _to_store(group, valid)
        for known in _known(connection, sent):
            del sent[known]
        if sent:
            _store(connection, sent.values(), now)
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


def _to_store(
    group: Sequence[NewReport], valid: Collection[int]
) -> dict[str, NewReport]:
    """Return the reports that may be stored; of those with one id the first."""
    sent: dict[str, NewReport] = {}
    for report in group:
        if report.key_id is None or report.key_id in valid:
            sent.setdefault(report.report_id, report)
    return sent


def _store(
    connection: sqlite3.Connection, fresh: Collection[NewReport], now: datetime
) -> int:
    """Store reports whose keys are valid; returns how many those are."""
    received = _moment(now)
    values: list[str | int | None] = []
    for report in fresh:
        values += (
            report.report_id,
            report.laptop_id,
            report.key_id,
            _moment(report.measured_at),
            received,
            report.body,
        )
    rows = ",".join([_ROW] * len(fresh))
    return connection.execute(_STORE.format(rows=rows), values).rowcount


def _valid(connection: sqlite3.Connection, keys: Collection[int]) -> dict[int, bool]:
    """Return the keys that are valid, each with whether its renewal was asked for."""
    told = _told(connection, _KEYS, list(keys))
    return {int(key): bool(asked) for key, asked in told.items()}


def _known(connection: sqlite3.Connection, ids: Collection[str]) -> set[str]:
    return set(_told(connection, _KNOWN, list(ids)))


def _told(connection: sqlite3.Connection, query: str, about: Sequence[object]) -> Any:
    """Return the JSON that a query about a list gives in its one row."""
    (row,) = connection.execute(query, (json.dumps(about),))
    return json.loads(row[0])


def _moment(moment: datetime) -> str:
    """Write a moment as the column type ``Moment`` does on SQLite."""
    utc = moment.astimezone(UTC).replace(tzinfo=None)
    return utc.isoformat(" ", "microseconds")
