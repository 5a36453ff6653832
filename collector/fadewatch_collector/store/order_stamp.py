"""What stands for the things people change that an order list follows."""

from collections.abc import Hashable

from sqlalchemy import func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import (
    pack_stock,
    place_imports,
    policies,
    removed_packs,
)


async def order_stamp(connection: AsyncConnection) -> Hashable:
    """Return a value that differs once stock, policy, places or the register do.

    One quick query on small tables. Assessments and what laptops report move on all the
    time and are not in it.
    """
    asked = (
        func.max(pack_stock.c.changed_at),
        func.sum(pack_stock.c.version),
        func.max(policies.c.changed_at),
        func.count(policies.c.scope),
        func.max(place_imports.c.id),
        func.max(place_imports.c.undone_at),
        func.max(removed_packs.c.id),
    )
    query = select(*(select(one).scalar_subquery() for one in asked))
    return tuple((await connection.execute(query)).one())
