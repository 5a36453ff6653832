"""A connection to PostgreSQL that is kept, for statements that are asked all the time."""

from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.trouble import told_as_driver_trouble, told_as_trouble


class KeptConnection:
    """Asks the driver itself; when the server went meanwhile it connects once more."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._connection: AsyncConnection | None = None

    async def fetch(self, statement: str, *values: object) -> Sequence[Any]:
        """Return a statement's rows; it is a transaction of its own.

        It may be done twice, when the server went before it could answer.

        Raises
        ------
        StoreTrouble
            The database cannot work now.
        """
        if self._connection is not None:
            with suppress(StoreTrouble):
                return await self._once(statement, values)
            # The server went since the last one, or hands its work to another.
        return await self._once(statement, values)

    async def close(self) -> None:
        """Give the connection back."""
        if self._connection is not None:
            await self._connection.close()
            self._connection = None

    async def _once(self, statement: str, values: Sequence[object]) -> Sequence[Any]:
        with told_as_trouble():
            if self._connection is None:
                self._connection = await self._store.engine.connect()
            pooled = await self._connection.get_raw_connection()
        driver: Any = pooled.driver_connection
        try:
            with told_as_driver_trouble():
                rows: Sequence[Any] = await driver.fetch(statement, *values)
        except Exception as error:
            if not isinstance(error, StoreTrouble) and not driver.is_closed():
                raise
            await self._connection.invalidate()
            await self.close()
            raise StoreTrouble(error) from error
        return rows
