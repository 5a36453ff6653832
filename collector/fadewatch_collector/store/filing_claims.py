"""Claim stored reports for filing: each is one collector's, and a laptop's are in order.

Every laptop belongs to one of a few lanes. On PostgreSQL a collector takes lanes that
are free, without waiting, by advisory locks of its transaction: all waiting reports of
a laptop are then its own to file, in their order. The locks and the claim end with the
transaction, also when its collector dies. SQLite has one collector and one writer.
"""

import random
from collections.abc import AsyncIterator, Collection
from contextlib import AbstractAsyncContextManager, asynccontextmanager, nullcontext
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, delete, func, select, text
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.bulk import among
from fadewatch_collector.store.server_settings import asking_for
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.tables import (
    filing_queue,
    packs,
    reports,
    slot_stays,
)
from fadewatch_collector.store.turns import (
    Turn,
    keep_packs_apart,
    share_turn,
    take_free_lanes,
)

LANES = 16
"""How many lanes there are: a collector's number is not bounded by it, but no more
collectors than these ever file at once. Own choice."""

LANES_AT_ONCE = 4
"""Lanes a collector takes first; only when little waits in them it takes all that are
free. With much waiting, four collectors file side by side. Own choice."""


_WATCHED = {"idle_in_transaction_session_timeout": "20s"}
"""A collector that froze while it was filing gives its claim up after that. Own choice."""


@dataclass(frozen=True, slots=True)
class StoredReport:
    """A report that waits to be filed."""

    queue_id: int
    report_id: str
    laptop_id: int
    received_at: datetime
    body: str


@dataclass(frozen=True, slots=True)
class Claim:
    """Reports that are this collector's to file, and the connections for it."""

    store: Store
    connection: AsyncConnection | None
    reports: list[StoredReport]

    def reading(self) -> AbstractAsyncContextManager[AsyncConnection]:
        """Give the connection for loading what the reports touch."""
        if self.connection is not None:
            return nullcontext(self.connection)
        return self.store.reading()

    def writing(self) -> AbstractAsyncContextManager[AsyncConnection]:
        """Give the connection for writing; what is written is there when all is."""
        if self.connection is not None:
            return nullcontext(self.connection)
        return self.store.writing()


@asynccontextmanager
async def claimed_reports(store: Store, limit: int) -> AsyncIterator[Claim]:
    """Claim the reports that wait longest, in the order they were stored.

    On PostgreSQL one transaction holds claim, reading and writing. On SQLite the claim
    is a gate of this process, and writing has a transaction of its own: the longer
    part of the work then keeps no other writer waiting.
    """
    if store.is_sqlite:
        async with store.filing_gate:
            async with store.reading() as connection:
                waiting = await _oldest(connection, limit)
            yield Claim(store, None, waiting)
        return
    async with store.writing() as connection:
        yield Claim(store, connection, await _claim(connection, limit))


async def _claim(connection: AsyncConnection, limit: int) -> list[StoredReport]:
    await connection.execute(text(asking_for(_WATCHED, here_only=True)))
    # Whoever has to be alone with the packs takes this turn for itself.
    await share_turn(connection, Turn.FILING)
    # A search from the same end would leave the last lanes waiting.
    lanes = random.sample(range(LANES), LANES)
    found: list[StoredReport] = []
    for most in (LANES_AT_ONCE, LANES):
        taken = await take_free_lanes(connection, lanes, most)
        if not taken:
            break
        # A statement of its own: it sees what the lanes' last holders left.
        lane = func.coalesce(filing_queue.c.laptop_id, 0) % LANES
        found += await _oldest(
            connection, limit - len(found), among(connection, lane, taken)
        )
        if len(found) >= limit:
            break
        lanes = [lane for lane in lanes if lane not in taken]
    return found


async def _oldest(
    connection: AsyncConnection, limit: int, *which: ColumnElement[bool]
) -> list[StoredReport]:
    column = filing_queue.c
    query = (
        select(column.id, column.report_id)
        .where(*which)
        .order_by(column.id)
        .limit(limit)
        # What somebody deletes at this moment, with its laptop, is not filed.
        .with_for_update(skip_locked=True)
    )
    queued = [(row[0], row[1]) for row in await connection.execute(query)]
    if not queued:
        return []
    kept = await _kept(connection, [report_id for _, report_id in queued])
    return [
        StoredReport(queue_id, report_id, *kept[report_id])
        for queue_id, report_id in queued
    ]


async def _kept(
    connection: AsyncConnection, report_ids: Collection[str]
) -> dict[str, tuple[Any, ...]]:
    column = reports.c
    query = select(
        column.report_id, column.laptop_id, column.received_at, column.body
    ).where(among(connection, column.report_id, report_ids))
    return {row[0]: tuple(row[1:]) for row in await connection.execute(query)}


async def hold_packs(
    connection: AsyncConnection, laptop_ids: Collection[int], identities: set[str]
) -> None:
    """Keep other collectors off the packs that these reports may be of.

    Those are the packs that they name and those that are, or once were, in their
    laptops: a reading without a serial may be of one of them.
    """
    if connection.dialect.name == "sqlite":
        return
    query = (
        select(packs.c.identity)
        .join(slot_stays, slot_stays.c.pack_id == packs.c.id)
        .where(
            among(connection, slot_stays.c.laptop_id, laptop_ids),
            packs.c.identity.is_not(None),
        )
    )
    known = set((await connection.execute(query)).scalars())
    await keep_packs_apart(connection, identities | known)


async def leave_queue(connection: AsyncConnection, queue_ids: Collection[int]) -> None:
    """Take filed reports off the queue."""
    await connection.execute(
        delete(filing_queue).where(among(connection, filing_queue.c.id, queue_ids))
    )
