"""Rows as the driver gives them, for what reads hundreds of thousands of them.

Making SQLAlchemy's rows and converting each value takes longer than reading them. What
comes is the driver's: on SQLite days, moments and JSON are texts, on PostgreSQL they are
Python's.
"""

import sqlite3
from collections.abc import AsyncGenerator, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from typing import Any

import numpy as np
from sqlalchemy import Select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.arrays import FloatArray

EPOCH_ORDINAL = date(1970, 1, 1).toordinal()


async def raw_rows(
    connection: AsyncConnection, statement: str, *values: Any
) -> Sequence[Sequence[Any]]:
    """Return the rows of a statement in the words of the connection's database."""
    driver = await _driver_of(connection)
    with _told_as_sqlalchemy_does(connection):
        if connection.dialect.name == "sqlite":
            return list(await driver.execute_fetchall(statement, values))
        found: Sequence[Sequence[Any]] = await driver.fetch(statement, *values)
        return found


async def stream_raw_rows(
    connection: AsyncConnection, query: Select[Any], chunk: int
) -> AsyncGenerator[Sequence[Sequence[Any]]]:
    """Yield the rows of a query, ``chunk`` at a time, while the cursor stays open.

    Its parameters must be texts or numbers: they are handed over as they are.
    """
    compiled = query.compile(
        dialect=connection.dialect, compile_kwargs={"render_postcompile": True}
    )
    values = [compiled.params[name] for name in compiled.positiontup or ()]
    driver = await _driver_of(connection)
    with _told_as_sqlalchemy_does(connection):
        if connection.dialect.name == "sqlite":
            cursor = await driver.execute(str(compiled), values)
            try:
                while rows := await cursor.fetchmany(chunk):
                    yield list(rows)
            finally:
                await cursor.close()
            return
        cursor = await driver.cursor(str(compiled), *values)
        while rows := await cursor.fetch(chunk):
            yield rows


async def _driver_of(connection: AsyncConnection) -> Any:
    if connection.dialect.name == "postgresql":
        # Its transaction begins with the first statement that SQLAlchemy sends.
        await connection.exec_driver_sql("SELECT 1")
    return (await connection.get_raw_connection()).driver_connection


@contextmanager
def _told_as_sqlalchemy_does(connection: AsyncConnection) -> Iterator[None]:
    """Raise the driver's errors as SQLAlchemy would: `store.trouble` knows these."""
    dialect: Any = connection.dialect
    lost: tuple[type[Exception], ...] = ()
    wrong: tuple[type[Exception], ...] = (sqlite3.Error,)
    if dialect.name == "postgresql":
        driver = dialect.loaded_dbapi.asyncpg
        lost, wrong = (driver.InterfaceError,), (driver.PostgresError,)
    try:
        yield
    except lost as error:
        raise DBAPIError("", (), error, connection_invalidated=True) from error
    except wrong as error:
        raise DBAPIError.instance("", (), error, sqlite3.Error) from error


def day_numbers(
    values: Sequence[date | datetime | str | None], missing: float = np.nan
) -> FloatArray:
    """Return days of either driver as days since 1970-01-01 [d].

    Parameters
    ----------
    values
        Days, or moments in UTC, of which the day counts.
    missing
        What stands for no day.
    """
    # Rows share their days: each is read once.
    number = {value: _day_number(value, missing) for value in set(values)}
    return np.array([number[value] for value in values], dtype=np.float64)


def _day_number(value: date | datetime | str | None, missing: float) -> float:
    if value is None:
        return missing
    day = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    return float(day.toordinal() - EPOCH_ORDINAL)
