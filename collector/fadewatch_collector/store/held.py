"""What is held about one laptop: the rows of every table that lead to it.

Found by walking the references between the tables, so that a table added later is
part of it by itself.
"""

from collections import Counter
from collections.abc import AsyncGenerator, Sequence
from typing import Any

from sqlalchemy import (
    ColumnElement,
    LargeBinary,
    Table,
    Text,
    and_,
    cast,
    false,
    func,
    literal,
    or_,
    select,
)
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import (
    alerts,
    audit,
    finding_watches,
    laptops,
    metadata,
    outbox,
    packs,
    place_changes,
    place_imports,
    reports,
    slot_stays,
)

Condition = ColumnElement[bool]


def own_tables() -> tuple[Table, ...]:
    """Return the tables whose rows point to a laptop, or to a report of one."""
    return tuple(
        table
        for table in metadata.sorted_tables
        if any(_points_to(table, one) is not None for one in (laptops, reports))
    )


def pack_tables() -> tuple[Table, ...]:
    """Return the tables whose rows are of a pack, wherever it sits."""
    own = set(own_tables())
    return tuple(
        table
        for table in metadata.sorted_tables
        if table not in own and _points_to(table, packs) is not None
    )


def is_of(table: Table, laptop_id: int) -> Condition:
    """Return which rows of one of the `own_tables` are of a laptop."""
    here: Condition = false()
    its_reports = select(reports.c.report_id).where(reports.c.laptop_id == laptop_id)
    if (key := _points_to(table, laptops)) is not None:
        here = key == laptop_id
    elif (key := _points_to(table, reports)) is not None:
        here = key.in_(its_reports)
    return here


def is_told_of(laptop_id: int) -> dict[Table, Condition]:
    """Return which rows name a laptop, or an alert of it, in words."""
    subject = f"laptop:{laptop_id}"
    its_alerts = select(literal("alert:") + cast(alerts.c.id, Text)).where(
        alerts.c.laptop_id == laptop_id
    )
    imports = select(place_changes.c.import_id).where(
        place_changes.c.laptop_id == laptop_id
    )
    return {
        audit: or_(audit.c.subject == subject, audit.c.subject.in_(its_alerts)),
        finding_watches: finding_watches.c.subject == subject,
        place_imports: place_imports.c.id.in_(imports),
        # The text of it; who reads takes a second look.
        outbox: cast(outbox.c.payload, Text).contains(f'"laptop_id": {laptop_id},'),
    }


async def while_here(
    connection: AsyncConnection, table: Table, laptop_id: int
) -> Condition:
    """Return which rows of one of the `pack_tables` are of packs while in a laptop."""
    stay = slot_stays.c
    query = select(stay.pack_id, stay.from_at, stay.last_seen_at).where(
        stay.laptop_id == laptop_id
    )
    key = _points_to(table, packs)
    day = next((table.c[name] for name in ("day", "as_of") if name in table.c), None)
    conditions = []
    for pack_id, begin, end in await connection.execute(query):
        here = key == pack_id
        if day is not None and table.primary_key.contains_column(day):
            here = and_(here, day.between(begin.date(), end.date()))
        conditions.append(here)
    return or_(false(), *conditions)


def told_columns(table: Table) -> list[Any]:
    """Return a table's columns without what is secret: the digests of keys."""
    return [column for column in table.c if not isinstance(column.type, LargeBinary)]


async def everything_of(
    connection: AsyncConnection, laptop_id: int
) -> list[tuple[Table, Condition]]:
    """Return each table with rows that are held about a laptop, and which they are.

    They come in the order of their references: the laptop first, what points to it
    later.
    """
    told = is_told_of(laptop_id)
    conditions = {table: is_of(table, laptop_id) for table in own_tables()} | told
    conditions[laptops] = laptops.c.id == laptop_id
    stays = select(slot_stays.c.pack_id).where(slot_stays.c.laptop_id == laptop_id)
    conditions[packs] = packs.c.id.in_(stays)
    for table in pack_tables():
        conditions[table] = await while_here(connection, table, laptop_id)
    return [
        (table, conditions[table])
        for table in metadata.sorted_tables
        if table in conditions
    ]


async def is_held(connection: AsyncConnection, laptop_id: int) -> bool:
    """Say whether there is a laptop of this number."""
    query = select(laptops.c.id).where(laptops.c.id == laptop_id)
    return await connection.scalar(query) is not None


async def rows_where(
    connection: AsyncConnection, table: Table, condition: Condition
) -> AsyncGenerator[dict[str, Any]]:
    """Yield rows in the order of their key, as a dictionary each."""
    order: Sequence[Any] = tuple(table.primary_key.columns)
    query = select(*told_columns(table)).where(condition).order_by(*order)
    async with connection.stream(query.execution_options(yield_per=500)) as result:
        async for row in result.mappings():
            yield dict(row)


async def count_where(
    connection: AsyncConnection, table: Table, condition: Condition
) -> int:
    """Count rows."""
    query = select(func.count()).select_from(table).where(condition)
    return int(await connection.scalar(query) or 0)


async def held_rows(connection: AsyncConnection, laptop_id: int) -> Counter[str]:
    """Count what still points to a laptop's number; its emptied trail aside."""
    counted: Counter[str] = Counter()
    for table in own_tables():
        key = is_of(table, laptop_id)
        counted[table.name] = await count_where(connection, table, key)
    told = is_told_of(laptop_id)
    for table in (finding_watches, outbox):
        counted[table.name] = await count_where(connection, table, told[table])
    return +counted


def _points_to(table: Table, parent: Table) -> Any | None:
    for column in table.columns:
        if any(key.column.table is parent for key in column.foreign_keys):
            return column
    return None
