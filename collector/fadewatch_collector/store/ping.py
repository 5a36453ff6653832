"""Whether the store answers, and has every table."""

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from fadewatch_collector.errors import StoreError
from fadewatch_collector.store.schema import is_behind
from fadewatch_collector.store.store import Store

_REVISION = text("SELECT version_num FROM alembic_version")


async def ping(store: Store) -> None:
    """Run one cheap query.

    Raises
    ------
    StoreError
        The store does not answer, has no tables yet, or lacks newer ones.
    """
    try:
        async with store.reading() as connection:
            found = await connection.scalar(_REVISION)
    except (SQLAlchemyError, OSError) as error:
        raise StoreError("the store does not answer") from error
    if is_behind(found):
        raise StoreError("the store waits for its migrations")
