"""What stands for the things people change that an order list follows."""

from collections.abc import Hashable
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import (
    pack_stock,
    place_imports,
    policies,
    removed_packs,
)


@dataclass(frozen=True, slots=True)
class OrderStamp:
    """Values that differ once stock differs, or policy, places or the register."""

    stock: Hashable
    others: Hashable


async def order_stamp(connection: AsyncConnection) -> OrderStamp:
    """Return what stands for stock, policy, places and the register of removed packs.

    One quick query on small tables. Assessments and what laptops report move on all the
    time and are not in it.
    """
    stock = (func.max(pack_stock.c.changed_at), func.sum(pack_stock.c.version))
    others = (
        func.max(policies.c.changed_at),
        func.count(policies.c.scope),
        func.max(place_imports.c.id),
        func.max(place_imports.c.undone_at),
        func.max(removed_packs.c.id),
    )
    query = select(*(select(one).scalar_subquery() for one in (*stock, *others)))
    row = tuple((await connection.execute(query)).one())
    return OrderStamp(row[: len(stock)], row[len(stock) :])
