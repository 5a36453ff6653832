"""How many rows each table holds, whatever its schema is."""

from sqlalchemy import Connection, func, inspect, select, table
from sqlalchemy.ext.asyncio import AsyncConnection

REVISION_TABLE = "alembic_version"
"""Where migrations keep the schema's revision."""

_TOP_TABLES = """
    SELECT c.relname FROM pg_catalog.pg_class c
    WHERE c.relnamespace = current_schema()::regnamespace
    AND c.relkind IN ('r', 'p') AND NOT c.relispartition
    ORDER BY c.relname
"""
"""Tables of the schema; a partition's rows are its table's."""


async def rows_by_table(connection: AsyncConnection) -> dict[str, int]:
    """Count the rows of every table."""
    return await connection.run_sync(_counted)


async def table_names(connection: AsyncConnection) -> list[str]:
    """Return the names of the tables there are."""
    return await connection.run_sync(_names)


def _names(connection: Connection) -> list[str]:
    if connection.dialect.name == "postgresql":
        return list(connection.exec_driver_sql(_TOP_TABLES).scalars())
    return sorted(inspect(connection).get_table_names())


def _counted(connection: Connection) -> dict[str, int]:
    counted = {}
    for name in _names(connection):
        query = select(func.count()).select_from(table(name))
        counted[name] = int(connection.scalar(query) or 0)
    return counted
