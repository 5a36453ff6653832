"""What people and programs look at: the pack list, one pack.

Each answer is read in one steady view of the store.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from fadewatch_collector.errors import NotFound
from fadewatch_collector.store import inspections, laptop_page, pack_page, swaps
from fadewatch_collector.store.audit import AuditLine
from fadewatch_collector.store.inspections import Inspection
from fadewatch_collector.store.laptop_page import DailyValue
from fadewatch_collector.store.pack_page import (
    PackDetail,
    PackFilter,
    PackPlace,
    PackRow,
)
from fadewatch_collector.store.pages import AlertRow
from fadewatch_collector.store.swaps import SwapDetail, SwapFilter
from fadewatch_collector.usecases.laptop_trail import ALERTS_FOLLOWED, trail_with
from fadewatch_collector.usecases.services import Services

__all__ = [
    "PackDetail",
    "PackFilter",
    "PackPlace",
    "PackRow",
    "PackView",
    "list_packs",
    "pack_view",
]

HISTORY_ROWS = 100
"""Inspections and swaps shown of one pack [count]. Own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PackView:
    """One pack with where it was, what was read, said and done; newest first."""

    pack: PackDetail
    places: Sequence[PackPlace]
    daily: Sequence[DailyValue]
    alerts: Sequence[AlertRow]
    swaps: Sequence[SwapDetail]
    inspections: Sequence[Inspection]
    trail: Sequence[AuditLine]


async def list_packs(
    services: Services,
    wanted: PackFilter,
    *,
    after: int | None = None,
    limit: int = 100,
) -> list[PackRow]:
    """Return packs in the order of their numbers."""
    async with services.store.reading() as connection:
        return await pack_page.pack_rows(connection, wanted, after=after, limit=limit)


async def pack_view(services: Services, pack_id: int) -> PackView:
    """Return everything about one pack.

    Raises
    ------
    NotFound
        There is no such pack.
    """
    async with services.store.reading() as connection:
        pack = await pack_page.pack_detail(connection, pack_id)
        if pack is None:
            raise NotFound("pack", pack_id)
        daily = await laptop_page.daily_values(connection, {pack_id})
        alerts = await pack_page.alerts_of_pack(connection, pack_id, ALERTS_FOLLOWED)
        return PackView(
            pack=pack,
            places=await pack_page.places_of(connection, pack_id),
            daily=daily[pack_id],
            alerts=alerts,
            swaps=await swaps.swaps_before(
                connection,
                SwapFilter(pack_id=pack_id),
                before=None,
                limit=HISTORY_ROWS,
            ),
            inspections=await inspections.inspections_before(
                connection,
                laptop_id=None,
                pack_id=pack_id,
                before=None,
                limit=HISTORY_ROWS,
            ),
            trail=await trail_with(connection, f"pack:{pack_id}", alerts),
        )
