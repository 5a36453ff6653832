"""How a connection to a SQLite file is set up, whichever driver makes it.

Also for the process that only writes reports, so nothing large is imported here.
"""

import sqlite3
from typing import Any

BUSY_TIMEOUT_MS = 30_000
"""How long a SQLite connection waits for another process's write [ms]."""

LONG_LOG_PAGES = 4_000
"""Length at which SQLite's log is moved into the file [pages of 4 KiB]: what changes
all over a large file then goes to the disk in fewer pieces. Own choice."""

CACHE_KIB = 8_192
"""What a connection to SQLite may keep of the file [KiB]: more pages than filing a batch
changes, which would be written twice. Own choice."""

STATEMENTS_KEPT = 256
"""Compiled statements kept: one for each number of values. Own choice."""


def prepare_sqlite(connection: Any) -> None:
    """Set a new connection to a SQLite file up, whichever driver made it."""
    cursor = connection.cursor()
    for pragma in (
        f"busy_timeout={BUSY_TIMEOUT_MS}",
        "journal_mode=WAL",
        # FULL: a commit is on the disk before anyone is told 'stored'.
        "synchronous=FULL",
        "foreign_keys=ON",
        f"wal_autocheckpoint={LONG_LOG_PAGES}",
        f"cache_size=-{CACHE_KIB}",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def connect_sqlite(path: str, once: str = "") -> sqlite3.Connection:
    """Open a file for statements asked all the time; transactions are the asker's.

    Parameters
    ----------
    once
        Statement run at once.
    """
    connection = sqlite3.connect(
        path, isolation_level=None, cached_statements=STATEMENTS_KEPT
    )
    try:
        prepare_sqlite(connection)
        connection.execute(once)
    except BaseException:
        connection.close()
        raise
    return connection
