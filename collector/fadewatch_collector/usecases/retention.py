"""Keep what is stored for as long as the settings say, and no longer.

Raw reports are kept from their receipt on, raw readings from when they were measured;
daily values, and everything that people did, stay. It is done at night in small
batches with rests between them, so that intake and filing always get their turn.
"""

import asyncio
import logging
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Sequence
from datetime import datetime, timedelta
from functools import partial
from time import monotonic

from fadewatch_collector.rules.retention import kept_from
from fadewatch_collector.store import months
from fadewatch_collector.store import retention as rows
from fadewatch_collector.store.intake import queue_depth
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.values import set_value
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)

BATCH = 2_000
"""Rows deleted in one transaction, about [count]. Own choice: some hundredths of a
second on SQLite, where nobody else writes meanwhile."""

PACKS = 500
"""Packs looked at in one query [count]. Own choice."""

FIRST_SPAN = timedelta(minutes=1)
"""Span of receipt whose reports are deleted first; then as many as make a batch."""

SHORTEST_SPAN, LONGEST_SPAN = timedelta(seconds=1), timedelta(days=1)
"""Bounds of the span of receipt deleted at a time. Own choice."""

DEEP_QUEUE = 1_000
"""Reports waiting to be filed from which on deleting waits too [count]. Own choice."""


async def clear_out(services: Services) -> int:
    """Delete what has been kept for long enough; returns the number of rows."""
    now = services.clock()
    count = 0
    limit = kept_from(now, services.settings.keep_reports_days)
    if limit is not None:
        count += await _clear_readings(services, limit)
        count += await _clear_reports(services, limit)
    last_day = kept_from(now, services.settings.keep_daily_days)
    if last_day is not None:
        async for packs in _all_packs(services):
            delete = partial(rows.delete_days, pack_ids=packs, before=last_day.date())
            count += await _in_turn(services, delete)
    return count


async def _clear_readings(services: Services, limit: datetime) -> int:
    """Delete readings row by row, save those of months that are dropped as a whole."""
    names = ["readings"]
    if not services.store.is_sqlite:
        async with services.store.reading() as connection:
            names = months.mixed_parts(await months.read_months(connection))
    async with services.store.writing() as connection:
        await set_value(connection, rows.READINGS_KEPT_FROM, limit.isoformat())
    count = 0
    for where in map(rows.readings_named, names):
        async for packs in _all_packs(services):
            async with services.store.reading() as connection:
                old = await rows.old_readings(connection, where, packs, limit)
            for batch in _batches(old):
                delete = partial(
                    rows.delete_readings, where=where, pack_ids=batch, before=limit
                )
                count += await _in_turn(services, delete)
    return count


async def _all_packs(services: Services) -> AsyncIterator[list[int]]:
    last = 0
    while True:
        async with services.store.reading() as connection:
            packs = await rows.packs_after(connection, last, PACKS)
        if not packs:
            return
        yield packs
        last = packs[-1]


def _batches(counts: Sequence[tuple[int, int]]) -> Iterator[list[int]]:
    """Give packs in batches that have little more than so many rows."""
    batch: list[int] = []
    size = 0
    for pack_id, number in counts:
        batch.append(pack_id)
        size += number
        if size >= BATCH:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch


async def _clear_reports(services: Services, limit: datetime) -> int:
    """Walk through the time of receipt up to the limit, a batch of reports a step."""
    async with services.store.reading() as connection:
        at = await rows.reports_deleted_to(connection)
    count, span = 0, FIRST_SPAN
    while at is not None and at < limit:
        async with services.store.reading() as connection:
            if await queue_depth(connection) > DEEP_QUEUE:
                log.info("filing is behind: raw reports are deleted another night")
                return count
        end = min(at + span, limit)
        delete = partial(rows.delete_reports, since=at, before=end)
        found = await _in_turn(services, delete)
        if found > BATCH:
            span = max(span / 2, SHORTEST_SPAN)
        elif found < BATCH // 4:
            span = min(span * 2, LONGEST_SPAN)
        count += found
        at = end
    return count


async def _in_turn(
    services: Services, work: Callable[[WriteConnection], Awaitable[int]]
) -> int:
    """Work in a transaction, then rest for as long as it took, a second at most."""
    async with services.store.writing() as connection:
        began = monotonic()
        count = await work(connection)
    await asyncio.sleep(min(monotonic() - began, 1.0))
    return count
