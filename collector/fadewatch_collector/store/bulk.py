"""Write many rows by one statement, and look for many values at once.

All rows of a statement go to the database in one parameter (SQLite: a JSON text) or one
for each column (PostgreSQL: arrays). The statement's text is then the same however many
rows there are, so it is prepared once; and it is one step of the database, during which
the event loop has the interpreter for itself. Passing row by row through SQLAlchemy
takes longer than writing the rows does.
"""

import json
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    ARRAY,
    Column,
    ColumnElement,
    Date,
    FromClause,
    Table,
    Text,
    any_,
    cast,
    column,
    func,
    literal,
    select,
)
from sqlalchemy.dialects import postgresql
from sqlalchemy.ext.asyncio import AsyncConnection
from sqlalchemy.types import TypeEngine

from fadewatch_collector.store.columns import Json, Moment

Row = Sequence[Any]
Convert = Callable[[Any], Any]

_POSTGRES = postgresql.dialect()  # type: ignore[no-untyped-call]  # as SQLAlchemy has it


def among(
    connection: AsyncConnection, what: ColumnElement[Any], values: Collection[Any]
) -> ColumnElement[bool]:
    """Return the condition that a column has one of the values, in one parameter."""
    if connection.dialect.name == "sqlite":
        listed = func.json_each(literal(json.dumps(list(values)), Text))
        return what.in_(select(listed.table_valued("value").c.value))
    return what == any_(literal(list(values), ARRAY(what.type)))


def given(
    connection: AsyncConnection,
    columns: Mapping[str, TypeEngine[Any]],
    rows: Sequence[Row],
) -> FromClause:
    """Return rows as a table to join with, in one parameter or one for each column."""
    if connection.dialect.name == "sqlite":
        converts = [_convert(kind, is_sqlite=True) for kind in columns.values()]
        plain = list(zip(*_converted(rows, converts), strict=True))
        value = func.json_each(literal(json.dumps(plain), Text)).table_valued("value")
        return select(
            *(
                func.json_extract(value.c.value, f"$[{place}]", type_=kind).label(name)
                for place, (name, kind) in enumerate(columns.items())
            )
        ).subquery("given")
    arrays = [
        cast(list(values), ARRAY(kind))
        for values, kind in zip(zip(*rows, strict=True), columns.values(), strict=True)
    ]
    named = [column(name, kind) for name, kind in columns.items()]
    return func.unnest(*arrays).table_valued(*named, name="given").render_derived()


async def insert_rows(
    connection: AsyncConnection,
    table: Table,
    names: tuple[str, ...],
    rows: Sequence[Row],
    on_conflict: str = "",
) -> None:
    """Insert rows, in their order.

    Parameters
    ----------
    on_conflict
        What to do with a row that is there already, as SQL's ON CONFLICT says it.
    """
    if not rows:
        return
    is_sqlite = connection.dialect.name == "sqlite"
    source = _source(table, names, is_sqlite=is_sqlite)
    # "WHERE true" keeps SQLite from taking ON CONFLICT for a join's condition.
    await connection.exec_driver_sql(
        f"INSERT INTO {table.name} ({', '.join(names)}) "  # noqa: S608  our own names
        f"SELECT {', '.join(names)} FROM {source} AS given WHERE true {on_conflict}",
        _parameters(table, names, rows, is_sqlite=is_sqlite),
    )


async def upsert_rows(
    connection: AsyncConnection,
    table: Table,
    names: tuple[str, ...],
    rows: Sequence[Row],
    only_if: str = "true",
) -> None:
    """Insert rows, or overwrite those with the same primary key; each key once.

    Parameters
    ----------
    only_if
        Condition in SQL without which a row that is there stays as it is.
    """
    keys = [column.name for column in table.primary_key]
    changed = ", ".join(f"{n} = excluded.{n}" for n in names if n not in keys)
    await insert_rows(
        connection,
        table,
        names,
        rows,
        f"ON CONFLICT ({', '.join(keys)}) DO UPDATE SET {changed} WHERE {only_if}",
    )


async def update_rows(
    connection: AsyncConnection,
    table: Table,
    names: tuple[str, ...],
    rows: Sequence[Row],
) -> None:
    """Update rows by their id, which is the first value of each."""
    if not rows:
        return
    is_sqlite = connection.dialect.name == "sqlite"
    source = _source(table, names, is_sqlite=is_sqlite)
    changed = ", ".join(f"{name} = given.{name}" for name in names[1:])
    await connection.exec_driver_sql(
        f"UPDATE {table.name} SET {changed} "  # noqa: S608  our own names
        f"FROM {source} AS given WHERE {table.name}.id = given.id",
        _parameters(table, names, rows, is_sqlite=is_sqlite),
    )


async def line_up(
    connection: AsyncConnection, table: Table, ids: Collection[int]
) -> None:
    """Lock rows that are to be updated, in the order of their ids.

    Two transactions that update the same rows then wait in one line, and never for
    each other. SQLite has one writer anyway.
    """
    if connection.dialect.name == "postgresql":
        await connection.exec_driver_sql(
            f"SELECT 1 FROM {table.name} "  # noqa: S608  our own names
            "WHERE id = ANY($1::bigint[]) ORDER BY id FOR NO KEY UPDATE",
            (list(ids),),
        )


@lru_cache(maxsize=256)
def _source(table: Table, names: tuple[str, ...], *, is_sqlite: bool) -> str:
    if is_sqlite:
        columns = ", ".join(
            f"json_extract(value, '$[{place}]') AS {name}"
            for place, name in enumerate(names)
        )
        return f"(SELECT {columns} FROM json_each(?))"  # noqa: S608  our own names
    types = [_postgres_type(table.c[name]) for name in names]
    arrays = ", ".join(
        f"${place}::{_element(kind)}[]" for place, kind in enumerate(types, 1)
    )
    columns = ", ".join(
        f"{name}::{kind} AS {name}" for name, kind in zip(names, types, strict=True)
    )
    listed = ", ".join(names)
    return f"(SELECT {columns} FROM unnest({arrays}) AS u ({listed}))"  # noqa: S608


def _postgres_type(column: Column[Any]) -> str:
    return str(column.type.compile(dialect=_POSTGRES))


def _element(kind: str) -> str:
    # A structure travels as its text and is read by the server.
    return "TEXT" if kind == "JSONB" else kind


def _parameters(
    table: Table, names: tuple[str, ...], rows: Sequence[Row], *, is_sqlite: bool
) -> tuple[Any, ...]:
    columns = _converted(rows, _converts(table, names, is_sqlite=is_sqlite))
    if is_sqlite:
        return (json.dumps(list(zip(*columns, strict=True))),)
    return tuple(columns)


def _converted(
    rows: Sequence[Row], converts: Sequence[Convert | None]
) -> list[list[Any]]:
    """Return the values by column, as the driver takes them."""
    return [
        list(values) if convert is None else list(map(convert, values))
        for values, convert in zip(zip(*rows, strict=True), converts, strict=True)
    ]


@lru_cache(maxsize=256)
def _converts(
    table: Table, names: tuple[str, ...], *, is_sqlite: bool
) -> tuple[Convert | None, ...]:
    return tuple(_convert(table.c[name].type, is_sqlite=is_sqlite) for name in names)


def _convert(kind: TypeEngine[Any], *, is_sqlite: bool) -> Convert | None:
    if isinstance(kind, type(Json)):
        return _json
    if not is_sqlite:
        return None
    if isinstance(kind, Moment):
        return _sqlite_moment
    return _sqlite_date if isinstance(kind, Date) else None


def _json(value: Any) -> str | None:
    return None if value is None else json.dumps(value)


# One report's moment goes into several tables.
@lru_cache(maxsize=8_192)
def _sqlite_moment(moment: datetime | None) -> str | None:
    if moment is None:
        return None
    return moment.astimezone(UTC).isoformat(" ", "microseconds")[:26]


def _sqlite_date(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
