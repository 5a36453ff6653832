"""Which role an operator has."""

from sqlalchemy import update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.operators import Role
from fadewatch_collector.store.tables import operators


async def set_role(connection: AsyncConnection, operator_id: int, role: Role) -> None:
    """Give an operator another role."""
    await connection.execute(
        update(operators).where(operators.c.id == operator_id).values(role=role)
    )
