"""The store's own few settings, by name."""

from sqlalchemy import select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import store_values


async def get_value(connection: AsyncConnection, name: str) -> str | None:
    """Return the value kept under a name."""
    query = select(store_values.c.value).where(store_values.c.name == name)
    return await connection.scalar(query)


async def get_values(connection: AsyncConnection, *names: str) -> dict[str, str]:
    """Return the values kept under some names, those that there are."""
    query = select(store_values.c.name, store_values.c.value).where(
        store_values.c.name.in_(names)
    )
    return {row.name: row.value for row in await connection.execute(query)}


async def set_value(connection: AsyncConnection, name: str, value: str) -> None:
    """Keep a value under a name, over the one that was there."""
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    await connection.execute(
        make_insert(store_values)
        .values(name=name, value=value)
        .on_conflict_do_update(
            index_elements=[store_values.c.name], set_={"value": value}
        )
    )
