"""Copy a SQLite store while others write, and look whether a copy is whole."""

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fadewatch_collector.errors import BackupProblem, StoreTrouble
from fadewatch_collector.store.sqlite_connection import BUSY_TIMEOUT_MS

PAGES_A_STEP = 2_000
"""Pages copied between two reports of progress [count]. Own choice."""

OWNER_ONLY = 0o600
"""A store holds hashes of passwords and keys, and what signs cookies."""


@dataclass(frozen=True, slots=True)
class StoreFile:
    """What a closed SQLite store says of itself."""

    revision: str | None
    rows: dict[str, int]


def copy_store(
    source: Path, target: Path, on_pages: Callable[[int, int], None]
) -> None:
    """Copy a store into a new file as it is at this moment; writers are not held up.

    Uses SQLite's online backup. One read transaction is held for the whole copy: the
    steps then see one moment, and a writer in between never makes it begin again.

    Parameters
    ----------
    on_pages
        Called with the pages left and all pages after each step.

    Raises
    ------
    StoreTrouble
        The store cannot be read, or there is no room for the copy.
    """
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, OWNER_ONLY))
    try:
        with _opened(source, "ro") as reading, _opened(target, "rw") as writing:
            reading.execute("BEGIN")
            reading.execute("SELECT count(*) FROM sqlite_master").fetchone()
            reading.backup(
                writing,
                pages=PAGES_A_STEP,
                progress=lambda _status, left, whole: on_pages(left, whole),
            )
            # One file with nothing beside it.
            writing.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.Error as problem:
        raise StoreTrouble(problem) from problem


def look_into(path: Path) -> StoreFile:
    """Return the revision and the number of rows of a store's file, once it is whole.

    Raises
    ------
    BackupProblem
        It is no SQLite file, or SQLite finds it damaged.
    """
    try:
        with _opened(path, "ro") as store:
            found = [row[0] for row in store.execute("PRAGMA integrity_check(3)")]
            if found != ["ok"]:
                raise BackupProblem(f"{path} is damaged: {'; '.join(found)}")
            names = [
                name
                for (name,) in store.execute(
                    "SELECT name FROM sqlite_master WHERE type = 'table' "
                    "AND name NOT LIKE 'sqlite!_%' ESCAPE '!' ORDER BY name"
                )
            ]
            rows = {name: _count(store, name) for name in names}
            return StoreFile(_revision(store, names), rows)
    except sqlite3.Error as problem:
        raise BackupProblem(f"{path} is no store: {problem}") from problem


def _count(store: sqlite3.Connection, table: str) -> int:
    quoted = '"' + table.replace('"', '""') + '"'
    # The name comes from the file's own list of tables and is quoted.
    row = store.execute(f"SELECT count(*) FROM {quoted}").fetchone()  # noqa: S608
    return int(row[0])


def _revision(store: sqlite3.Connection, names: list[str]) -> str | None:
    if "alembic_version" not in names:
        return None
    row = store.execute("SELECT version_num FROM alembic_version").fetchone()
    return None if row is None else str(row[0])


@contextmanager
def _opened(path: Path, mode: str) -> Iterator[sqlite3.Connection]:
    address = f"{path.resolve().as_uri()}?mode={mode}"
    connection = sqlite3.connect(
        address, uri=True, isolation_level=None, timeout=BUSY_TIMEOUT_MS / 1000
    )
    try:
        yield connection
    finally:
        connection.close()
