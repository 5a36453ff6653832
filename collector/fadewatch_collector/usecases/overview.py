"""What people and programs look at: the alert list, the laptop list, one laptop.

Each answer is read in one steady view of the store.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fadewatch_collector.errors import NotFound
from fadewatch_collector.rules.alert_terms import Urgency
from fadewatch_collector.rules.paging import (
    alert_cursor,
    alert_key,
    laptop_cursor,
    laptop_key,
)
from fadewatch_collector.rules.search_terms import words_sought
from fadewatch_collector.store import laptop_page, pages
from fadewatch_collector.store.laptop_page import (
    AssessmentRow,
    DailyValue,
    InventoryChange,
    LaptopDetail,
    PackStay,
)
from fadewatch_collector.store.pages import AlertFilter, AlertRow, LaptopRow
from fadewatch_collector.store.search import laptops_sought
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases import large_counts
from fadewatch_collector.usecases.services import Services

__all__ = [
    "AlertFilter",
    "AlertList",
    "AlertRow",
    "AssessmentRow",
    "DailyValue",
    "InventoryChange",
    "LaptopDetail",
    "LaptopList",
    "LaptopRow",
    "LaptopView",
    "PackStay",
    "alert_list",
    "count_laptops",
    "laptop_list",
    "laptop_view",
    "read_laptop",
]

PAGE_ROWS = 50
"""Rows of a list on one page [count]. Own choice."""

HISTORY_ROWS = 100
"""Alerts and changes shown of one laptop [count]. Own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertList:
    """A page of the alert list; ``next_cursor`` is None on the last one."""

    alerts: Sequence[AlertRow]
    next_cursor: str | None
    counts: Mapping[Urgency, int]
    sites: Sequence[str]
    laptop_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopList:
    """A page of the laptop list; ``next_cursor`` is None on the last one."""

    laptops: Sequence[LaptopRow]
    next_cursor: str | None
    sites: Sequence[str]
    laptop_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopView:
    """One laptop with its packs, daily values by pack number, alerts and changes."""

    laptop: LaptopDetail
    packs: Sequence[PackStay]
    daily: Mapping[int, Sequence[DailyValue]]
    alerts: Sequence[AlertRow]
    changes: Sequence[InventoryChange]


async def alert_list(
    services: Services,
    wanted: AlertFilter,
    cursor: str | None = None,
    limit: int = PAGE_ROWS,
) -> AlertList:
    """Return a page of the alert list.

    Raises
    ------
    InvalidRequest
        The cursor is not one that a page has given.
    """
    after = None if cursor is None else alert_key(cursor)
    async with services.store.reading() as connection:
        # One row more than shown tells whether there is a next page.
        rows = await pages.alert_rows(connection, wanted, after=after, limit=limit + 1)
        counts = await large_counts.count_alerts(connection, services, wanted.site)
        sites = await pages.sites(connection)
        laptop_count = await large_counts.count_laptops(connection, services)
    more = len(rows) > limit
    return AlertList(
        alerts=rows[:limit],
        next_cursor=alert_cursor(rows[limit - 1].key) if more else None,
        counts=counts,
        sites=sites,
        laptop_count=laptop_count,
    )


async def laptop_list(
    services: Services,
    site: str | None = None,
    cursor: str | None = None,
    limit: int = PAGE_ROWS,
    find: str | None = None,
) -> LaptopList:
    """Return a page of the laptop list.

    Parameters
    ----------
    find
        The beginnings of names or numbers that a laptop must all have.

    Raises
    ------
    InvalidRequest
        The cursor is not one that a page has given.
    """
    after = None if cursor is None else laptop_key(cursor)
    words = words_sought(find or "")
    async with services.store.reading() as connection:
        rows = await pages.laptop_rows(
            connection,
            site=site,
            sought=await laptops_sought(connection, words) if words else None,
            after=after,
            limit=limit + 1,
        )
        sites = await pages.sites(connection)
        laptop_count = await large_counts.count_laptops(connection, services)
    more = len(rows) > limit
    return LaptopList(
        laptops=rows[:limit],
        next_cursor=laptop_cursor(rows[limit - 1].id) if more else None,
        sites=sites,
        laptop_count=laptop_count,
    )


async def count_laptops(services: Services) -> int:
    """Return how many laptops are enrolled."""
    async with services.store.reading() as connection:
        return await large_counts.count_laptops(connection, services)


async def laptop_view(services: Services, laptop_id: int) -> LaptopView:
    """Return everything about one laptop.

    Raises
    ------
    NotFound
        There is no such laptop.
    """
    async with services.store.reading() as connection:
        return await read_laptop(connection, laptop_id)


async def read_laptop(connection: WriteConnection, laptop_id: int) -> LaptopView:
    """Return everything about one laptop, in the view that a connection has.

    Raises
    ------
    NotFound
        There is no such laptop.
    """
    laptop = await laptop_page.laptop_detail(connection, laptop_id)
    if laptop is None:
        raise NotFound("laptop", laptop_id)
    packs = await laptop_page.pack_stays(connection, laptop_id)
    return LaptopView(
        laptop=laptop,
        packs=packs,
        daily=await laptop_page.daily_values(
            connection, {pack.pack_id for pack in packs}
        ),
        alerts=await laptop_page.alerts_of(connection, laptop_id, HISTORY_ROWS),
        changes=await laptop_page.changes_of(connection, laptop_id, HISTORY_ROWS),
    )
