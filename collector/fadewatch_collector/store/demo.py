"""What only the demo writes: places without an import."""

from sqlalchemy import func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import laptops


async def count_laptops(connection: AsyncConnection) -> int:
    """Count the laptops in the store."""
    return (await connection.scalar(select(func.count(laptops.c.id)))) or 0


async def set_place(
    connection: AsyncConnection, laptop_id: int, asset_tag: str, holder: str | None
) -> None:
    """Set a laptop's asset tag and holder."""
    await connection.execute(
        update(laptops)
        .where(laptops.c.id == laptop_id)
        .values(asset_tag=asset_tag, holder=holder)
    )
