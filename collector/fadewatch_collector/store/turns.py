"""Take turns at work that two transactions must not do side by side."""

from enum import IntEnum

from sqlalchemy import text
from sqlalchemy.ext.asyncio import AsyncConnection


class Turn(IntEnum):
    """Work with one worker at a time; the number is an advisory lock's. Own choice."""

    FILING = 0x46574601
    ALERTS = 0x46574602


async def take_turn(connection: AsyncConnection, turn: Turn) -> None:
    """Wait until no other transaction has the turn, and keep it to the end of this one.

    What is read next is then as the one before left it: two collectors on PostgreSQL,
    or the nightly round beside a fresh reading, would else both open the same alert or
    make the same pack. SQLite has one writer at a time anyway.
    """
    if connection.dialect.name == "postgresql":
        await connection.execute(
            text("SELECT pg_advisory_xact_lock(:turn)"), {"turn": int(turn)}
        )
