"""What only the demo asks and writes."""

from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import laptops, swaps


async def count_laptops(connection: AsyncConnection) -> int:
    """Count the laptops in the store."""
    return (await connection.scalar(select(func.count(laptops.c.id)))) or 0


async def right_swaps_before(
    connection: AsyncConnection, before: datetime
) -> list[int]:
    """Return swaps to confirm from before a moment that nothing speaks against."""
    column = swaps.c
    query = select(column.id, column.wrong).where(
        column.state == "to confirm", column.at < before
    )
    return [number for number, wrong in await connection.execute(query) if not wrong]
