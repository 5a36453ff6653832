"""Take turns at work that two transactions must not do side by side."""

from collections.abc import Collection, Iterable
from enum import IntEnum
from zlib import crc32

from sqlalchemy import text
from sqlalchemy.ext.asyncio import AsyncConnection


class Turn(IntEnum):
    """Work with one worker at a time; the number is an advisory lock's. Own choice."""

    FILING = 0x46574601
    ALERTS = 0x46574602


LANES_CLASS = 0x46574603
PACKS_CLASS = 0x46574604
"""First numbers of the advisory locks of lanes and of packs. Own choice."""


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


async def share_turn(connection: AsyncConnection, turn: Turn) -> None:
    """Wait until nobody has the turn alone; several may share it to their ends."""
    await connection.execute(
        text("SELECT pg_advisory_xact_lock_shared(:turn)"), {"turn": int(turn)}
    )


async def take_free_lanes(
    connection: AsyncConnection, lanes: Iterable[int], most: int
) -> list[int]:
    """Take lanes that no other transaction has, to the end of this one; no waiting."""
    # The limit ends the search, so no lane is taken beyond it.
    found = await connection.execute(
        text(
            "SELECT lane FROM unnest(CAST(:lanes AS integer[])) AS lane "
            "WHERE pg_try_advisory_xact_lock(:kind, lane) LIMIT :most"
        ),
        {"lanes": list(lanes), "kind": LANES_CLASS, "most": most},
    )
    return list(found.scalars())


async def keep_packs_apart(
    connection: AsyncConnection, identities: Collection[str]
) -> None:
    """Wait until no other transaction files packs with one of these identities.

    Taken in one order by everyone, so that two never wait for each other. Two
    identities may share a number: that costs a wait, nothing else.
    """
    # As PostgreSQL's integer, which has a sign.
    numbers = sorted({crc32(name.encode()) - 2**31 for name in identities})
    await connection.execute(
        text(
            "SELECT count(pg_advisory_xact_lock(:kind, pack)) "
            "FROM unnest(CAST(:packs AS integer[])) AS pack"
        ),
        {"kind": PACKS_CLASS, "packs": numbers},
    )
