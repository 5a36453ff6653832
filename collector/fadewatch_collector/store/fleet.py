"""The fleet, one row a pack that sits in a slot, read as a stream."""

from collections.abc import AsyncGenerator, Sequence
from contextlib import aclosing
from typing import Any

from sqlalchemy import ColumnElement, Select, case, collate, func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.raw_rows import stream_raw_rows
from fadewatch_collector.store.search import laptops_sought
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    laptops,
    packs,
    slot_stays,
)


def fleet_query(
    names: Sequence[str],
    *,
    is_sqlite: bool,
    conditions: Sequence[ColumnElement[bool]] = (),
) -> Select[Any]:
    """Select the fleet: by site, laptop and slot; laptops without a site come last.

    A laptop without a pack has one row whose pack columns are empty.

    Parameters
    ----------
    names
        The columns wanted: ``laptop.hostname``, ``pack.unit``, ``stay.slot``,
        ``assessment.wear`` and so on, by table and column; ``open_alerts``; and
        ``band``, which is ``unknown`` for a pack that was not assessed yet.
    conditions
        On ``laptops``: only those that meet all of them.
    """
    columns = _columns()
    here = (slot_stays.c.laptop_id == laptops.c.id) & slot_stays.c.until_at.is_(None)
    return (
        select(*(columns[name].label(name.replace(".", "_")) for name in names))
        .select_from(laptops)
        .outerjoin(slot_stays, here)
        .outerjoin(packs, packs.c.id == slot_stays.c.pack_id)
        .outerjoin(assessments, assessments.c.pack_id == packs.c.id)
        .where(*conditions)
        .order_by(
            _by_code_point(laptops.c.site, is_sqlite=is_sqlite).nulls_last(),
            laptops.c.id,
            _by_code_point(slot_stays.c.slot, is_sqlite=is_sqlite),
        )
    )


async def stream_fleet(
    connection: AsyncConnection,
    names: Sequence[str],
    chunk: int,
    *,
    site: str | None = None,
    words: Sequence[str] = (),
) -> AsyncGenerator[Sequence[Sequence[Any]]]:
    """Yield the rows of :func:`fleet_query` as the driver gives them.

    Parameters
    ----------
    site, words
        Only laptops at this site that all of these words find.

    Notes
    -----
    The cursor stays in the database, so memory does not grow with the fleet.
    """
    is_sqlite = connection.dialect.name == "sqlite"
    conditions = [] if site is None else [laptops.c.site == site]
    if words:
        conditions.append(await laptops_sought(connection, words))
    query = fleet_query(names, is_sqlite=is_sqlite, conditions=conditions)
    async with aclosing(stream_raw_rows(connection, query, chunk)) as chunks:
        async for rows in chunks:
            yield rows


def _columns() -> dict[str, ColumnElement[Any]]:
    tables = {
        "laptop": laptops,
        "stay": slot_stays,
        "pack": packs,
        "assessment": assessments,
    }
    columns: dict[str, ColumnElement[Any]] = {
        "open_alerts": _open_alerts(),
        "band": case(
            (packs.c.id.is_not(None), func.coalesce(assessments.c.band, "unknown"))
        ),
    }
    for word, table in tables.items():
        columns |= {f"{word}.{column.name}": column for column in table.c}
    return columns


def _by_code_point(
    column: ColumnElement[Any], *, is_sqlite: bool
) -> ColumnElement[Any]:
    # PostgreSQL orders text by the locale of its database, SQLite by bytes: the same
    # fleet must make the same file on both.
    return column if is_sqlite else collate(column, "C")


def _open_alerts() -> ColumnElement[int]:
    """Count the alerts not ended: the pack's own and those of the whole laptop."""
    is_open = alerts.c.state != "ended"
    of_pack = (
        select(func.count())
        .where(is_open, alerts.c.pack_id == packs.c.id)
        .correlate(packs)
        .scalar_subquery()
    )
    of_laptop = (
        select(func.count())
        .where(is_open, alerts.c.laptop_id == laptops.c.id, alerts.c.pack_id.is_(None))
        .correlate(laptops)
        .scalar_subquery()
    )
    return of_pack + of_laptop
