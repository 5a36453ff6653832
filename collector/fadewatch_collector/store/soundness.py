"""Look whether a store is sound: the database's own checks, its schema, its rows."""

from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, Select, func, inspect, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.invariants import invariants
from fadewatch_collector.store.rows_counted import table_names
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.tables import metadata
from fadewatch_collector.store.trouble import told_as_trouble

SHOWN = 5
"""Examples of what was found [count]. Own choice."""


@dataclass(frozen=True, slots=True)
class Checked:
    """One check and what it found.

    Attributes
    ----------
    what
        What was looked for.
    found
        How many; 0 is sound.
    examples
        Some of them.
    left_out
        Why it could not be looked for; None when it was.
    """

    what: str
    found: int = 0
    examples: tuple[str, ...] = ()
    left_out: str | None = None


@asynccontextmanager
async def looking(store: Store) -> AsyncIterator[AsyncConnection]:
    """Give one steady view of a store in which nothing is kept, damaged as it may be."""
    with told_as_trouble() as progress:
        async with store.engine.connect() as connection:
            progress.is_connected = True
            yield connection
            # A damaged file may refuse even to commit nothing.
            await connection.invalidate()


async def checked_by_sqlite(connection: AsyncConnection) -> AsyncIterator[Checked]:
    """Let SQLite check its file and its foreign keys."""

    async def damage() -> list[str]:
        lines = await connection.execute(text("PRAGMA integrity_check(100)"))
        return [line for line in lines.scalars() if line != "ok"]

    async def broken() -> list[str]:
        rows = await connection.execute(text("PRAGMA foreign_key_check"))
        return [f"{row[0]} row {row[1]} to {row[2]}" for row in rows]

    yield await _tried("damage to the file (integrity_check)", damage)
    yield await _tried("rows that point to no row (foreign_key_check)", broken)


async def _tried(what: str, look: Callable[[], Awaitable[list[str]]]) -> Checked:
    """Look for something; what the database cannot read is found, too."""
    try:
        return _found(what, await look())
    except DBAPIError as problem:
        return Checked(what, 1, (f"it cannot be read: {problem.orig}",))


_INVALID_INDEXES = """
    SELECT indexrelid::regclass::text FROM pg_catalog.pg_index i
    JOIN pg_catalog.pg_class c ON c.oid = i.indexrelid
    WHERE c.relnamespace = current_schema()::regnamespace
    AND NOT (i.indisvalid AND i.indisready)
"""
_UNPROVEN_CONSTRAINTS = """
    SELECT conrelid::regclass::text || ' ' || conname FROM pg_catalog.pg_constraint
    WHERE connamespace = current_schema()::regnamespace AND NOT convalidated
"""
_COUNTERS = """
    SELECT c.oid::regclass::text, a.attname,
        pg_get_serial_sequence(quote_ident(n.nspname) || '.' || quote_ident(c.relname),
            a.attname)
    FROM pg_catalog.pg_attribute a JOIN pg_catalog.pg_class c ON c.oid = a.attrelid
    JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace
    WHERE n.nspname = current_schema() AND c.relkind IN ('r', 'p')
    AND NOT c.relispartition AND a.attnum > 0 AND NOT a.attisdropped
    AND pg_get_serial_sequence(quote_ident(n.nspname) || '.' || quote_ident(c.relname),
        a.attname) IS NOT NULL
"""
_INDEXES = """
    SELECT c.oid::regclass::text FROM pg_catalog.pg_index i
    JOIN pg_catalog.pg_class c ON c.oid = i.indexrelid
    JOIN pg_catalog.pg_am m ON m.oid = c.relam
    WHERE c.relnamespace = current_schema()::regnamespace
    AND c.relkind = 'i' AND m.amname = 'btree' AND i.indisvalid
"""


async def checked_by_postgres(connection: AsyncConnection) -> AsyncIterator[Checked]:
    """Ask PostgreSQL what is invalid, and for damage where amcheck is installed."""
    for what, query in (
        ("indexes that are not valid", _INVALID_INDEXES),
        ("constraints that were never proven", _UNPROVEN_CONSTRAINTS),
    ):
        names = (await connection.execute(text(query))).scalars()
        yield _found(what, names)
    yield await _counters(connection)
    yield await _damage(connection)


async def _counters(connection: AsyncConnection) -> Checked:
    """Look whether a number that was given already would be given again."""
    behind = []
    for table, column, counter in (await connection.execute(text(_COUNTERS))).all():
        # All three names come quoted from the catalogue.
        query = (
            f'SELECT max("{column}"), (SELECT last_value FROM {counter}) FROM {table}'  # noqa: S608
        )
        highest, last = (await connection.execute(text(query))).one()
        if highest is not None and highest > last:
            behind.append(f"{table}.{column} holds {highest}, the counter {last}")
    return _found("counters behind their table", behind)


async def _damage(connection: AsyncConnection) -> Checked:
    what = "damage to indexes (amcheck)"
    amcheck = text("SELECT count(*) FROM pg_extension WHERE extname = 'amcheck'")
    if not await connection.scalar(amcheck):
        return Checked(
            what,
            left_out="the extension amcheck is not there; its superuser adds it with "
            "CREATE EXTENSION amcheck",
        )
    damage = []
    for name in (await connection.execute(text(_INDEXES))).scalars().all():
        check = text("SELECT bt_index_check(CAST(:name AS regclass), true)")
        try:
            async with connection.begin_nested():
                await connection.execute(check, {"name": name})
        except DBAPIError as problem:
            damage.append(f"{name}: {problem.orig}")
    return _found(what, damage)


async def checked_schema(connection: AsyncConnection) -> Checked:
    """Compare the schema with the tables that the program knows."""

    def differences(sync: Connection) -> list[str]:
        # The parts of a table that is kept in parts are not the program's to name.
        parts = set(inspect(sync).get_table_names()).difference(names)
        context = MigrationContext.configure(
            sync, opts={"include_name": lambda name, _kind, _of: name not in parts}
        )
        return [_told(one) for one in compare_metadata(context, metadata)]

    names = await table_names(connection)

    async def look() -> list[str]:
        return await connection.run_sync(differences)

    return await _tried("differences from the program's tables", look)


def _told(difference: object) -> str:
    while isinstance(difference, list) and difference:
        difference = difference[0]
    if not isinstance(difference, tuple):
        return str(difference)
    names = [str(getattr(part, "name", part)) for part in difference if part]
    return " ".join(names[:4])


async def checked_rows(connection: AsyncConnection) -> AsyncIterator[Checked]:
    """Look for rows that break what must hold."""
    for what, query in invariants(connection.dialect.name).items():
        try:
            async with connection.begin_nested():
                yield await _count(connection, what, query)
        except DBAPIError as problem:
            yield Checked(what, 1, (f"it cannot be read: {problem.orig}",))


async def _count(connection: AsyncConnection, what: str, query: Select[Any]) -> Checked:
    counting = select(func.count()).select_from(query.subquery())
    found = await connection.scalar(counting) or 0
    rows = (await connection.execute(query.limit(SHOWN))).all() if found else []
    return Checked(what, found, tuple(" ".join(map(str, row)) for row in rows))


def _found(what: str, lines: Iterable[str]) -> Checked:
    found = list(lines)
    return Checked(what, len(found), tuple(found[:SHOWN]))
