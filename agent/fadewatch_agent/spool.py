"""The queue of reports on disk: what is not delivered yet, and what was rejected."""

import json
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self, TypeVar

from fadewatch_agent.clock import Ticks
from fadewatch_agent.errors import UnusableSpool

LAYOUT = 2
"""Layout of the file, kept in its user_version."""

SET_ASIDE_LIMIT = 100
"""Rejected reports kept for a person to see; the oldest go first."""

_TABLES = """
CREATE TABLE queued (
    sequence INTEGER PRIMARY KEY AUTOINCREMENT,
    report_id TEXT NOT NULL UNIQUE,
    day TEXT NOT NULL,
    body TEXT NOT NULL,
    thinned_told INTEGER NOT NULL,
    dropped_told INTEGER NOT NULL,
    damaged_told INTEGER NOT NULL,
    boot TEXT,
    ticks REAL,
    settled INTEGER NOT NULL DEFAULT 0
);
CREATE INDEX queued_day ON queued (day, sequence);
CREATE TABLE set_aside (
    sequence INTEGER PRIMARY KEY AUTOINCREMENT,
    report_id TEXT NOT NULL,
    problem TEXT NOT NULL,
    body TEXT NOT NULL
);
CREATE TABLE untold (thinned INTEGER, dropped INTEGER, damaged INTEGER);
INSERT INTO untold VALUES (0, 0, 0);
"""

_FROM_1 = """
ALTER TABLE queued ADD COLUMN boot TEXT;
ALTER TABLE queued ADD COLUMN ticks REAL;
ALTER TABLE queued ADD COLUMN settled INTEGER NOT NULL DEFAULT 0;
"""
"""What makes layout 2 of layout 1."""

_OLDEST_OF_A_DAY_WITH_LATER_ONES = """
SELECT sequence FROM queued AS early WHERE EXISTS (
    SELECT 1 FROM queued AS later
    WHERE later.day = early.day AND later.sequence > early.sequence
) ORDER BY sequence LIMIT ?
"""
_OLDEST = "SELECT sequence FROM queued ORDER BY sequence LIMIT ?"

_DAMAGE_CODES = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
_APART = "surrogateescape"
_MAYBE_TEXT, _MAYBE_NUMBER = (str, type(None)), (float, int, type(None))

Outcome = TypeVar("Outcome")


class DamagedContent(sqlite3.DatabaseError):
    """What a sound file cannot hold, though SQLite reads it."""

    sqlite_errorcode = sqlite3.SQLITE_CORRUPT


class Losses(NamedTuple):
    """Readings lost since a report last told of them.

    Attributes
    ----------
    thinned
        Readings taken out of days that keep another one.
    dropped
        Readings taken out with their whole day.
    damaged
        Times that the queue's file was damaged and set aside.
    """

    thinned: int = 0
    dropped: int = 0
    damaged: int = 0

    def sentences(self) -> list[str]:
        """Word the losses as remarks."""
        words = (
            (self.thinned, "queue full: readings thinned to one a day: {}"),
            (self.dropped, "queue full: oldest readings dropped: {}"),
            (self.damaged, "queue file damaged and begun anew, times: {}"),
        )
        return [sentence.format(count) for count, sentence in words if count]


class Queued(NamedTuple):
    """One report that waits."""

    sequence: int
    report_id: str
    body: str


class Unsettled(NamedTuple):
    """One report whose time was not compared with the collector's clock yet.

    Attributes
    ----------
    boot
        The kernel's name for the start of the machine in which it was taken.
    ticks
        Time since that start [s].
    """

    sequence: int
    body: str
    boot: str | None
    ticks: float | None


class SetAside(NamedTuple):
    """One report that the collector will not take, and why."""

    report_id: str
    problem: str


class Spool:
    """The queue, one SQLite file; a context manager that closes it."""

    def __init__(self, path: Path, limit: int) -> None:
        self._limit = limit
        self._connection = sqlite3.connect(path, timeout=10)
        # Damaged text must not stop the whole queue: what is no UTF-8 is kept apart.
        self._connection.text_factory = lambda raw: raw.decode("utf-8", _APART)
        try:
            self._prepare()
        except (sqlite3.Error, UnusableSpool, UnicodeDecodeError):
            self._connection.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._connection.close()

    def _prepare(self) -> None:
        # One file, no write-ahead log beside it; EXTRA also syncs the folder after
        # the journal is gone, so a commit outlives a power loss.
        self._connection.execute("PRAGMA synchronous = EXTRA")
        (layout,) = self._connection.execute("PRAGMA user_version").fetchone()
        if layout == 0:
            self._connection.executescript(
                f"BEGIN IMMEDIATE; {_TABLES} PRAGMA user_version = {LAYOUT}; COMMIT;"
            )
        elif layout == 1:
            self._connection.executescript(
                f"BEGIN IMMEDIATE; {_FROM_1} PRAGMA user_version = {LAYOUT}; COMMIT;"
            )
        elif layout != LAYOUT:
            raise UnusableSpool(self._path(), f"its layout {layout} is not {LAYOUT}")

    def _path(self) -> str:
        return str(self._connection.execute("PRAGMA database_list").fetchone()[2])

    def untold(self) -> Losses:
        """Return the losses that the next report tells of."""
        row = self._connection.execute("SELECT * FROM untold").fetchone() or ()
        return Losses(*_checked(row, (int, int, int)))

    def put(
        self, report_id: str, day: str, body: str, ticks: Ticks | None = None
    ) -> None:
        """Queue one report, which tells of all losses so far, and make room.

        Parameters
        ----------
        day
            Day of the reading, in UTC, as YYYY-MM-DD.
        body
            The report as JSON.
        ticks
            When it was taken, since the start of the machine.
        """
        boot, seconds = (None, None) if ticks is None else ticks
        with self._connection:
            self._connection.execute(
                "INSERT INTO queued (report_id, day, body, thinned_told, dropped_told,"
                " damaged_told, boot, ticks)"
                " SELECT ?, ?, ?, thinned, dropped, damaged, ?, ? FROM untold",
                (report_id, day, body, boot, seconds),
            )
            self._connection.execute(
                "UPDATE untold SET thinned = 0, dropped = 0, damaged = 0"
            )
            self._make_room()

    def note_damage(self) -> None:
        """Remember that an earlier file was damaged, for the next report to tell."""
        with self._connection:
            self._connection.execute("UPDATE untold SET damaged = damaged + 1")

    def _make_room(self) -> None:
        """Thin the oldest days to one reading each; drop whole days after that."""
        if (excess := self.depth() - self._limit) <= 0:
            return
        thinned = self._column(_OLDEST_OF_A_DAY_WITH_LATER_ONES, excess)
        self._lose(thinned, "thinned")
        if excess > len(thinned):
            self._lose(self._column(_OLDEST, excess - len(thinned)), "dropped")

    def _column(self, query: str, limit: int) -> list[int]:
        return [row[0] for row in self._connection.execute(query, (limit,))]

    def _lose(self, sequences: list[int], how: str) -> None:
        # What a lost report had to tell is told again by the next one.
        for sequence in sequences:
            told = self._connection.execute(
                "DELETE FROM queued WHERE sequence = ?"
                " RETURNING thinned_told, dropped_told, damaged_told",
                (sequence,),
            ).fetchone()
            self._connection.execute(
                "UPDATE untold SET thinned = thinned + ?, dropped = dropped + ?,"
                " damaged = damaged + ?",
                told,
            )
            column = (
                "thinned = thinned + 1" if how == "thinned" else "dropped = dropped + 1"
            )
            self._connection.execute(f"UPDATE untold SET {column}")  # noqa: S608

    def depth(self) -> int:
        """Return how many reports wait."""
        (count,) = self._connection.execute("SELECT count(*) FROM queued").fetchone()
        return int(count)

    def waiting(self, most: int, most_bytes: int, after: int = 0) -> list[Queued]:
        """Return the oldest waiting reports that fit into one request, in order.

        Parameters
        ----------
        most
            Most reports.
        most_bytes
            Most bytes of their bodies; a single report may exceed it.
        after
            Sequence after which to look.
        """
        rows: list[Queued] = []
        size = 0
        for row in self._connection.execute(
            "SELECT sequence, report_id, body FROM queued WHERE sequence > ?"
            " ORDER BY sequence LIMIT ?",
            (after, most),
        ):
            queued = Queued(*_checked(row, (int, str, str)))
            if not queued.report_id.isascii():
                raise DamagedContent("an id holds what no id has")
            size += len(queued.body.encode("utf-8", _APART)) + 1
            if rows and size > most_bytes:
                break
            rows.append(queued)
        return rows

    def unsettled(self) -> list[Unsettled]:
        """Return the reports whose time was not compared yet, in order."""
        rows = self._connection.execute(
            "SELECT sequence, body, boot, ticks FROM queued WHERE NOT settled"
            " ORDER BY sequence"
        )
        kinds = (int, str, _MAYBE_TEXT, _MAYBE_NUMBER)
        return [Unsettled(*_checked(row, kinds)) for row in rows]

    def correct(self, sequence: int, day: str, body: str) -> None:
        """Put another body in place of a report's, for another day."""
        with self._connection:
            self._connection.execute(
                "UPDATE queued SET day = ?, body = ?, settled = 1 WHERE sequence = ?",
                (day, body, sequence),
            )

    def note_settled(self) -> None:
        """Note that all that waits was compared."""
        with self._connection:
            self._connection.execute("UPDATE queued SET settled = 1 WHERE NOT settled")

    def settle(self, delivered: Iterable[str], rejected: Iterable[SetAside]) -> None:
        """Take delivered reports out, and set rejected ones aside with the problem."""
        with self._connection:
            self._connection.executemany(
                "DELETE FROM queued WHERE report_id = ?", [(d,) for d in delivered]
            )
            for report_id, problem in rejected:
                self._connection.execute(
                    "INSERT INTO set_aside (report_id, problem, body)"
                    " SELECT report_id, ?, body FROM queued WHERE report_id = ?",
                    (problem, report_id),
                )
                self._connection.execute(
                    "DELETE FROM queued WHERE report_id = ?", (report_id,)
                )
            self._connection.execute(
                "DELETE FROM set_aside WHERE sequence <="
                " (SELECT max(sequence) FROM set_aside) - ?",
                (SET_ASIDE_LIMIT,),
            )

    def set_aside_all(self, problem: str) -> None:
        """Set every waiting report aside, for one and the same problem."""
        ids = self._connection.execute("SELECT report_id FROM queued ORDER BY sequence")
        self.settle(
            (), [SetAside(report_id, problem) for (report_id,) in ids.fetchall()]
        )

    def set_aside(self) -> list[SetAside]:
        """Return the reports set aside, the latest first."""
        rows = self._connection.execute(
            "SELECT report_id, problem FROM set_aside ORDER BY sequence DESC"
        )
        return [SetAside(*row) for row in rows]


def is_sound(body: str) -> bool:
    """Say whether a body is the JSON object that was put in."""
    try:
        # What was kept apart, being no UTF-8, cannot be written again.
        return bool(body.encode()) and isinstance(json.loads(body), dict)
    except (ValueError, RecursionError):
        return False


def _checked(row: Sequence[Any], kinds: Sequence[Any]) -> Sequence[Any]:
    """Return a row whose columns hold what was put into them.

    Raises
    ------
    DamagedContent
        They do not.
    """
    if len(row) != len(kinds) or not all(map(isinstance, row, kinds)):
        raise DamagedContent("a row holds what was never put in")
    return row


def with_spool(path: Path, limit: int, action: Callable[[Spool], Outcome]) -> Outcome:
    """Do something with the queue; with a new one when its file is damaged.

    The damaged file stays beside it with ``.damaged`` at its end, one at most.

    Raises
    ------
    UnusableSpool
        The new file cannot be used either, or the file belongs to another version.
    """
    try:
        with Spool(path, limit) as spool:
            return action(spool)
    except UnicodeDecodeError:
        # SQLite's own message names a part of the file that is no text any more.
        pass
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF not in _DAMAGE_CODES:
            raise UnusableSpool(path, error) from error
    _move_away(path)
    try:
        with Spool(path, limit) as spool:
            spool.note_damage()
            return action(spool)
    except sqlite3.Error as error:
        raise UnusableSpool(path, error) from error


def _move_away(path: Path) -> None:
    # The journal goes first: it must never be applied to the new file.
    for ending in ("-journal", ""):
        damaged = path.with_name(path.name + ending)
        if damaged.exists():
            damaged.replace(path.with_name(path.name + ".damaged" + ending))
