"""Whether the store answers at all."""

from sqlalchemy import select
from sqlalchemy.exc import SQLAlchemyError

from fadewatch_collector.errors import StoreError
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.tables import laptops


async def ping(store: Store) -> None:
    """Run one cheap query.

    Raises
    ------
    StoreError
        The store does not answer, or has no tables yet.
    """
    try:
        async with store.reading() as connection:
            await connection.execute(select(laptops.c.id).limit(1))
    except (SQLAlchemyError, OSError) as error:
        raise StoreError("the store does not answer") from error
