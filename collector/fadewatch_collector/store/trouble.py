"""Tell a database that cannot work now from a statement that is wrong."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.exc import TimeoutError as NoneFree

from fadewatch_collector.errors import StoreTrouble

TROUBLE_CLASSES = ("08", "25", "40", "53", "55", "57", "58")
"""Classes of SQLSTATE that say: not now. Connection, transaction state (read only),
rollback, resources, object in use, operator, system (PostgreSQL, appendix A)."""


@dataclass(slots=True)
class Progress:
    """How far the work with the database has come."""

    is_connected: bool = False


@contextmanager
def told_as_trouble() -> Iterator[Progress]:
    """Raise `StoreTrouble` for what the database may be able to do later.

    The drivers do not agree on names: SQLite says OperationalError, PostgreSQL's driver
    gives a SQLSTATE, or an error of the network when there is no server. Once connected
    such an error is somebody else's, as of a client that takes an export.
    """
    progress = Progress()
    try:
        yield progress
    except DBAPIError as error:
        if not _is_trouble(error):
            raise
        raise StoreTrouble(error.orig) from error
    except NoneFree as error:
        # Every connection was taken for as long as one may wait: too much work at once.
        raise StoreTrouble("no connection became free in time") from error
    except OSError as error:
        if progress.is_connected:
            raise
        raise StoreTrouble(error) from error


@contextmanager
def told_as_driver_trouble() -> Iterator[None]:
    """Raise `StoreTrouble` as `told_as_trouble` does, around a driver's own calls."""
    try:
        yield
    except (sqlite3.OperationalError, OSError) as error:
        raise StoreTrouble(error) from error
    except Exception as error:
        # PostgreSQL's driver is optional: its errors are known by what they carry.
        if not _says_not_now(error):
            raise
        raise StoreTrouble(error) from error


def _is_trouble(error: DBAPIError) -> bool:
    if type(error.orig) is sqlite3.DatabaseError:
        # SQLite says so of a file that is damaged, or none of its own.
        return True
    if isinstance(error, OperationalError) or error.connection_invalidated:
        return True
    return _says_not_now(error.orig)


def _says_not_now(error: BaseException | None) -> bool:
    code = getattr(error, "sqlstate", None) or ""
    return code.startswith(TROUBLE_CLASSES)
