"""Counts that every list shows, kept for a minute where they are large.

Up to some thousands are counted each time, which a few looks into an index do; so the
few alerts that matter most are always fresh. Counting a million takes longer than the
page that shows it, and beside that many nobody sees a minute's change.
"""

from collections.abc import Awaitable, Callable, Hashable, Mapping
from datetime import datetime, timedelta
from typing import Any
from weakref import WeakKeyDictionary

from fadewatch_collector.rules.alert_terms import Urgency
from fadewatch_collector.store import counts
from fadewatch_collector.store.store import Store, WriteConnection
from fadewatch_collector.usecases.services import Services

MANY = 2_000
"""What is counted each time, at most [count]. Own choice."""

KEPT_FOR = timedelta(minutes=1)
"""How long a larger count is kept. Own choice."""

MOST_KEPT = 256
"""Counts kept at the same time [count]. Own choice."""

Kept = dict[Hashable, tuple[datetime, Any]]

_of_store: WeakKeyDictionary[Store, Kept] = WeakKeyDictionary()


async def count_alerts(
    connection: WriteConnection, services: Services, site: str | None
) -> Mapping[Urgency, int]:
    """Count the alerts that wait, by urgency; every urgency is there."""
    found = await counts.alerts_up_to(connection, site, MANY)
    large = tuple(urgency for urgency, count in found.items() if count > MANY)
    if not large:
        return found
    whole: Mapping[Urgency, int] = await _recent(
        services,
        ("alerts", site, large),
        lambda: counts.alerts_in_all(connection, site, large),
    )
    return {**found, **whole}


async def count_laptops(connection: WriteConnection, services: Services) -> int:
    """Count the laptops that are enrolled."""
    found = await counts.laptops_up_to(connection, MANY)
    if found <= MANY:
        return found
    whole: int = await _recent(
        services, "laptops", lambda: counts.laptops_in_all(connection)
    )
    return whole


async def _recent(
    services: Services, name: Hashable, count: Callable[[], Awaitable[Any]]
) -> Any:
    """Return what was counted within a minute, or count it now."""
    kept = _of_store.setdefault(services.store, {})
    now = services.clock()
    if name in kept and timedelta() <= now - kept[name][0] <= KEPT_FOR:
        return kept[name][1]
    found = await count()
    if len(kept) >= MOST_KEPT:
        kept.clear()
    kept[name] = (now, found)
    return found
