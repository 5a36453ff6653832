"""Copy a SQLite store into an empty PostgreSQL store, row by row as they are."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from typing import Any

import asyncpg
from sqlalchemy import Boolean, Column, Date, Table

from fadewatch_collector.store.columns import Moment
from fadewatch_collector.store.tables import metadata

ROWS = 20_000
"""Rows copied at a time [count]."""


async def copy_store(path: str, url: str) -> None:
    """Copy every row of a SQLite store into an empty PostgreSQL store."""
    target = await asyncpg.connect(url)
    try:
        await target.execute("SET session_replication_role = replica")
        await target.execute("SET synchronous_commit = off")
        with closing(sqlite3.connect(path)) as source:
            for table in metadata.sorted_tables:
                await _copy_table(source, target, table)
                await _count_on(target, table)
        await target.execute("ANALYZE")
    finally:
        await target.close()


async def _copy_table(source: sqlite3.Connection, target: Any, table: Table) -> None:
    columns = list(table.columns)
    names = [column.name for column in columns]
    readers = [_reader(column) for column in columns]
    found = source.execute(f"SELECT {', '.join(names)} FROM {table.name}")  # noqa: S608  # our own names
    while rows := found.fetchmany(ROWS):
        by_column = [
            values if read is None else [v if v is None else read(v) for v in values]
            for read, values in zip(readers, zip(*rows, strict=True), strict=True)
        ]
        await target.copy_records_to_table(
            table.name, records=zip(*by_column, strict=True), columns=names
        )


def _reader(column: Column[Any]) -> Callable[[Any], Any] | None:
    """Return what turns a value of SQLite's into what PostgreSQL's driver takes."""
    if isinstance(column.type, Moment):
        return lambda text: datetime.fromisoformat(text).replace(tzinfo=UTC)
    if isinstance(column.type, Date):
        return date.fromisoformat
    return bool if isinstance(column.type, Boolean) else None


async def _count_on(target: Any, table: Table) -> None:
    """Let the table's own numbers go on after those that were copied."""
    if "id" in table.c:
        await target.execute(
            f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "  # noqa: S608  # our own names
            f"coalesce(max(id), 0) + 1, false) FROM {table.name}"
        )
