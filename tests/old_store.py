"""Fill a store in whatever schema it has, read it back, and compare its schema."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    Date,
    DateTime,
    Float,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    insert,
    inspect,
    select,
    text,
)

from fadewatch_collector.store.tables import metadata
from fadewatch_common.report_id import make_report_id

ROWS = 3
"""Rows put in each table [count]."""

START = datetime(2026, 2, 27, 21, 0, tzinfo=UTC)

Rows = dict[str, list[dict[str, Any]]]

_TYPES: dict[type, Callable[[int], Any]] = {
    Boolean: lambda n: n % 2 == 0,
    Integer: lambda n: n + 1,
    Float: lambda n: n + 0.25,
    DateTime: lambda n: START + n * timedelta(hours=7),
    Date: lambda n: date(2026, 2, 27) + timedelta(days=n),
    LargeBinary: lambda n: bytes([n]) * 32,
    JSON: lambda n: [{"said": f"row {n}"}],
}


def differences(connection: Connection) -> list[object]:
    """Compare the store's schema with the tables."""
    context = MigrationContext.configure(
        connection,
        opts={
            "include_name": lambda name, kind, _: (
                not (kind == "table" and is_part(name))
            )
        },
    )
    return list(compare_metadata(context, metadata))


def tables_of(connection: Connection, known: MetaData | None = None) -> MetaData:
    """Read the tables that there are, parts of partitioned ones left out.

    Parameters
    ----------
    known
        Tables read before: those whose columns are the same still are not read again.
    """
    found = MetaData()
    names = [n for n in inspect(connection).get_table_names() if not is_part(n)]
    changed = []
    for name in names:
        old = known.tables.get(name) if known else None
        if old is not None and _columns(connection, name) == set(old.c.keys()):
            old.to_metadata(found)
        else:
            changed.append(name)
    found.reflect(connection, only=changed, extend_existing=True)
    return found


def _columns(connection: Connection, table: str) -> set[str]:
    return set(connection.execute(text(f"SELECT * FROM {table} LIMIT 0")).keys())  # noqa: S608  own name


def is_part(table: str) -> bool:
    """Say whether a table is a part of a partitioned one."""
    return table.startswith("readings_")


def fill(connection: Connection, tables: MetaData, first: int) -> Rows:
    """Put rows into every table, in the shape that the schema has now.

    Parameters
    ----------
    first
        Number of the first row: rows of different numbers differ in every value.
    """
    written: Rows = {}
    for table in tables.sorted_tables:
        if table.name != "alembic_version":
            numbers = range(first, first + ROWS)
            rows = [_row(connection, table, n) for n in numbers]
            connection.execute(insert(table), rows)
            written[table.name] = rows
    return written


def read(connection: Connection, tables: MetaData) -> Rows:
    """Return every row of every table, by the table's name."""
    found: Rows = {}
    for table in tables.sorted_tables:
        if table.name != "alembic_version":
            rows = connection.execute(select(table)).mappings()
            found[table.name] = [dict(row) for row in rows]
    return found


def _row(connection: Connection, table: Table, n: int) -> dict[str, Any]:
    return {
        column.name: _value(connection, column, n)
        for column in table.c
        # Numbers that the database gives.
        if not (column.name == "id" and column.primary_key)
    }


def _value(connection: Connection, column: Column[Any], n: int) -> Any:
    for key in column.foreign_keys:
        there = key.column
        query = select(there).order_by(there.desc()).offset(n % ROWS).limit(1)
        return connection.scalar(query)
    if column.name == "report_id":
        return make_report_id(int(START.timestamp() * 1000) + n, n)
    for kind, make in _TYPES.items():
        if isinstance(column.type, kind):
            value = make(n)
            # SQLite keeps no zone.
            is_sqlite = connection.dialect.name == "sqlite"
            if is_sqlite and isinstance(value, datetime):
                return value.replace(tzinfo=None)
            return value
    return f"{column.name} {n}"
