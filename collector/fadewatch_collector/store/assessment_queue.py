"""Packs that wait to be assessed, by whichever collector has time."""

from collections.abc import Collection, Mapping
from datetime import datetime, timedelta

from sqlalchemy import delete, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.bulk import among, insert_rows
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.tables import assessment_queue

LEASE = timedelta(seconds=30)
"""How long claimed packs are left to their collector where there are several: longer
than a batch takes. One that takes longer is assessed twice, which changes nothing. Own
choice."""

FIRST_PAUSE = timedelta(minutes=1)
LONGEST_PAUSE = timedelta(days=1)
"""How long a pack that could not be assessed is left alone: twice as long each time.
Own choice."""

_column = assessment_queue.c


async def ask_assessment(
    connection: AsyncConnection, pack_ids: Collection[int], now: datetime
) -> None:
    """Let packs wait for their assessment; one that waits already goes on waiting."""
    await insert_rows(
        connection,
        assessment_queue,
        ("pack_id", "asked_at", "due_at"),
        # In one order everywhere, so that two transactions never wait for each other.
        [(pack_id, now, now) for pack_id in sorted(pack_ids)],
        "ON CONFLICT (pack_id) DO UPDATE SET asks = assessment_queue.asks + 1",
    )


async def claim_packs(store: Store, limit: int, now: datetime) -> dict[int, int]:
    """Take the packs that are due first; return how often each was asked for.

    Where there are several collectors the packs are kept from the others for `LEASE`:
    a collector that dies leaves them to be taken again. SQLite has one, which needs no
    claim.
    """
    query = (
        select(_column.pack_id, _column.asks)
        .where(_column.due_at <= now)
        .order_by(_column.due_at, _column.pack_id)
        .limit(limit)
    )
    if store.is_sqlite:
        async with store.reading() as connection:
            return {row[0]: row[1] for row in await connection.execute(query)}
    async with store.writing() as connection:
        found = await connection.execute(query.with_for_update(skip_locked=True))
        claimed = {row[0]: row[1] for row in found}
        await connection.execute(
            update(assessment_queue)
            .where(among(connection, _column.pack_id, claimed))
            .values(due_at=now + LEASE)
        )
    return claimed


async def done_with(
    connection: AsyncConnection, claimed: Mapping[int, int], now: datetime
) -> None:
    """Take assessed packs off the queue; those asked for meanwhile wait again."""
    asks = await _lined_up(connection, claimed)
    done = [pack_id for pack_id, count in asks.items() if claimed[pack_id] == count]
    await connection.execute(
        delete(assessment_queue).where(among(connection, _column.pack_id, done))
    )
    again = asks.keys() - set(done)
    if again:
        await connection.execute(
            update(assessment_queue)
            .where(among(connection, _column.pack_id, again))
            .values(asked_at=now, due_at=now, failures=0, problem=None)
        )


async def put_off(
    connection: AsyncConnection, pack_id: int, problem: str, now: datetime
) -> None:
    """Keep why a pack could not be assessed; it is tried again later and later."""
    query = select(_column.failures).where(_column.pack_id == pack_id)
    failures: int = (await connection.scalar(query)) or 0
    pause = min(FIRST_PAUSE * 2 ** min(failures, 20), LONGEST_PAUSE)
    await connection.execute(
        update(assessment_queue)
        .where(_column.pack_id == pack_id)
        .values(failures=failures + 1, problem=problem, due_at=now + pause)
    )


async def _lined_up(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> dict[int, int]:
    """Lock rows in one order, behind whoever asks for them at this moment."""
    query = (
        select(_column.pack_id, _column.asks)
        .where(among(connection, _column.pack_id, pack_ids))
        .order_by(_column.pack_id)
        .with_for_update()
    )
    return {row[0]: row[1] for row in await connection.execute(query)}
