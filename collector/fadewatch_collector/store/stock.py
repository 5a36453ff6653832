"""Rows of stock, by pack type."""

from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.stock import StockFigures
from fadewatch_collector.store.tables import pack_stock

_FIGURES = tuple(field.name for field in fields(StockFigures))


@dataclass(frozen=True, slots=True)
class KeptStock:
    """What was entered of a pack type, and by whom."""

    type_key: str
    figures: StockFigures
    changed_at: datetime
    changed_by: str
    version: int


async def all_stock(connection: AsyncConnection) -> list[KeptStock]:
    """Return all that was entered, newest change first."""
    query = select(pack_stock).order_by(
        pack_stock.c.changed_at.desc(), pack_stock.c.type_key
    )
    return [_kept(row) for row in await connection.execute(query)]


async def stock_of(connection: AsyncConnection, type_key: str) -> KeptStock | None:
    """Return what was entered under a key."""
    query = select(pack_stock).where(pack_stock.c.type_key == type_key)
    row = (await connection.execute(query)).one_or_none()
    return None if row is None else _kept(row)


async def keep_stock(
    connection: AsyncConnection,
    type_key: str,
    figures: StockFigures,
    *,
    who: str,
    now: datetime,
    replaces: str | None,
    version: int,
) -> bool:
    """Keep figures; False when somebody else was first.

    Parameters
    ----------
    replaces
        Key of the row that the person saw; it gets the new key. None: there was none.
    version
        Of that row; 0 when there was none.
    """
    values: dict[str, Any] = {
        "type_key": type_key,
        "changed_at": now,
        "changed_by": who,
        "version": version + 1,
        **{name: getattr(figures, name) for name in _FIGURES},
    }
    if replaces is not None:
        row = pack_stock.c
        result = await connection.execute(
            update(pack_stock)
            .where(row.type_key == replaces, row.version == version)
            .values(values)
        )
        return result.rowcount == 1
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    result = await connection.execute(
        make_insert(pack_stock).values(values).on_conflict_do_nothing()
    )
    return result.rowcount == 1


def _kept(row: Any) -> KeptStock:
    return KeptStock(
        row.type_key,
        StockFigures(**{name: getattr(row, name) for name in _FIGURES}),
        row.changed_at,
        row.changed_by,
        row.version,
    )
