"""Make room in a PostgreSQL database for a restored one, and keep what was there."""

from sqlalchemy import text
from sqlalchemy.ext.asyncio import AsyncConnection

_TABLES = """
    SELECT c.oid::regclass::text FROM pg_catalog.pg_class c
    WHERE c.relnamespace = CAST(:schema AS regnamespace) AND c.relkind IN ('r', 'p')
    ORDER BY c.relname
"""


async def other_sessions(connection: AsyncConnection) -> int:
    """Count the other programs that are connected to this database."""
    query = text(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
        "AND backend_type = 'client backend' AND pid <> pg_backend_pid()"
    )
    return int(await connection.scalar(query) or 0)


async def put_aside(connection: AsyncConnection, schema: str) -> None:
    """Move every table, with its indexes and counters, to a new schema.

    Parameters
    ----------
    schema
        Name of our own making: letters, digits and underscores.
    """
    await connection.execute(text(f"CREATE SCHEMA {schema}"))
    present = await connection.scalar(text("SELECT current_schema()"))
    await _move(connection, present, schema)


async def take_back(connection: AsyncConnection, schema: str) -> None:
    """Move the tables back that were put aside."""
    present = await connection.scalar(text("SELECT current_schema()"))
    await _move(connection, schema, f'"{present}"')
    await connection.execute(text(f"DROP SCHEMA {schema}"))


async def _move(connection: AsyncConnection, source: str | None, to: str) -> None:
    tables = await connection.execute(text(_TABLES), {"schema": source})
    for name in tables.scalars().all():
        # Quoted by the server; counters that a column owns go with their table.
        await connection.execute(text(f"ALTER TABLE {name} SET SCHEMA {to}"))
