"""How much waits in the queues, and since when."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import assessment_queue, filing_queue, reports


@dataclass(frozen=True, slots=True)
class Depth:
    """How many wait, and since when the first does; None when nothing waits."""

    count: int
    since: datetime | None


@dataclass(frozen=True, slots=True)
class QueueDepths:
    """What waits in the store for any collector.

    Attributes
    ----------
    filing
        Stored reports that are not filed yet.
    assessment
        Packs to be assessed, those in a collector's hands included.
    set_aside
        Packs that could not be assessed and are tried again later.
    """

    filing: Depth
    assessment: Depth
    set_aside: Depth


async def queue_depths(connection: AsyncConnection) -> QueueDepths:
    """Count what waits; three statements, whatever the length of the queues."""
    # The first in the queue is the one that was received first, or nearly so.
    first = (
        select(reports.c.received_at)
        .join(filing_queue, filing_queue.c.report_id == reports.c.report_id)
        .order_by(filing_queue.c.id)
        .limit(1)
    )
    column = filing_queue.c
    filing = await connection.execute(
        select(func.count(column.id), first.scalar_subquery())
    )
    return QueueDepths(
        filing=Depth(*filing.one()),
        assessment=await _packs(connection, assessment_queue.c.failures == 0),
        set_aside=await _packs(connection, assessment_queue.c.failures > 0),
    )


async def _packs(connection: AsyncConnection, which: ColumnElement[bool]) -> Depth:
    column = assessment_queue.c
    query = select(func.count(column.pack_id), func.min(column.asked_at)).where(which)
    return Depth(*(await connection.execute(query)).one())
