"""Counts of due laptops by site, kept for a minute where the fleet is large.

They look at every laptop that is due, which takes longer than the page that shows
them; beside tens of thousands a minute's change is not seen.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from weakref import WeakKeyDictionary

from fadewatch_collector.store.due import DueFilter, SiteCount, due_counts
from fadewatch_collector.store.store import Store, WriteConnection
from fadewatch_collector.usecases.services import Services

MANY = 2_000
"""Due laptops from which the counts are kept [count]; fewer are counted each time."""

KEPT_FOR = timedelta(minutes=1)
"""How long they are kept. Own choice."""

MOST_KEPT = 64
"""Filters whose counts are kept at the same time [count]. Own choice."""

Kept = dict[DueFilter, tuple[datetime, Sequence[SiteCount]]]

_of_store: WeakKeyDictionary[Store, Kept] = WeakKeyDictionary()


async def recent_counts(
    connection: WriteConnection, services: Services, wanted: DueFilter
) -> Sequence[SiteCount]:
    """Count the due laptops by site, or return what was counted within a minute."""
    kept = _of_store.setdefault(services.store, {})
    now = services.clock()
    if wanted in kept and timedelta() <= now - kept[wanted][0] <= KEPT_FOR:
        return kept[wanted][1]
    counts = await due_counts(connection, wanted)
    if len(kept) >= MOST_KEPT:
        kept.clear()
    if sum(count.due for count in counts) >= MANY:
        kept[wanted] = (now, counts)
    return counts
