"""Give freed space back; what was deleted is then nowhere in the store's files."""

from typing import Any

from sqlalchemy import text

from fadewatch_collector.store.store import Store
from fadewatch_collector.store.trouble import told_as_driver_trouble, told_as_trouble


async def compact(store: Store) -> None:
    """Write the store anew without what was deleted; writers wait meanwhile on SQLite.

    SQLite needs as much free room as the store has. PostgreSQL makes the space free
    for new rows, and keeps nobody waiting.
    """
    async with store.turn(), store.engine.connect() as connection:
        if store.is_sqlite:
            # By the driver itself: a transaction would be begun else.
            raw: Any = (await connection.get_raw_connection()).driver_connection
            with told_as_driver_trouble():
                await raw.execute("VACUUM")
                await raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            return
        with told_as_trouble():
            alone = await connection.execution_options(isolation_level="AUTOCOMMIT")
            await alone.execute(text("VACUUM"))
