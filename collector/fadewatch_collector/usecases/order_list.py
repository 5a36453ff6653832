"""The order list: what the fleet's packs will need, less what is there already."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray
from fadewatch_collector.rules.order_draws import FleetNeeds
from fadewatch_collector.rules.order_list import (
    OrderInput,
    OrderList,
    make_order_list,
)
from fadewatch_collector.rules.stock import NOTHING_ENTERED
from fadewatch_collector.rules.type_groups import Grouping
from fadewatch_collector.store import due_packs as rows
from fadewatch_collector.store.due_packs import DuePacks
from fadewatch_collector.store.stock import KeptStock, all_stock
from fadewatch_collector.usecases.pack_queue import (
    PackQueue,
    forecasts_of,
    queue_of,
    standing_of,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import match_stock


@dataclass(frozen=True, slots=True, eq=False)
class FleetDue:
    """The packs in use as of a moment: all that an order list needs beside stock.

    Parameters
    ----------
    fitted, cannot_forecast
        By type [count].
    sites
        By place; None is no site.
    """

    made_at: datetime
    grouping: Grouping
    needs: FleetNeeds
    fitted: CountArray
    cannot_forecast: CountArray
    sites: Sequence[str | None]
    queue: PackQueue

    @property
    def today(self) -> date:
        """The day that it stands for."""
        return self.made_at.date()


async def order_list(services: Services) -> OrderList:
    """Return today's order list, drawn now."""
    return await drawn_list(services, await read_fleet(services))


async def read_fleet(services: Services) -> FleetDue:
    """Read the packs in use."""
    now = services.clock()
    async with services.store.reading() as connection:
        packs = await rows.packs_in_use(connection)
    # This takes the processor for a while: the loop goes on answering meanwhile.
    return await asyncio.to_thread(_fleet, packs, now)


async def drawn_list(services: Services, fleet: FleetDue) -> OrderList:
    """Draw the order list of a fleet with the stock that there is now."""
    async with services.store.reading() as connection:
        kept = await all_stock(connection)
    return await asyncio.to_thread(_drawn, fleet, kept, services.settings.currency)


def _fleet(packs: DuePacks, now: datetime) -> FleetDue:
    standing = standing_of(packs)
    days = forecasts_of(standing, now.date())
    count = len(standing.grouping.types)
    sites = sorted(set(packs.site), key=lambda site: (site is None, site or ""))
    site_place = {site: place for place, site in enumerate(sites)}
    return FleetDue(
        made_at=now,
        grouping=standing.grouping,
        needs=FleetNeeds(
            days,
            standing.types,
            np.array([site_place[site] for site in packs.site], dtype=np.int64),
            count,
            len(sites),
        ),
        fitted=np.bincount(standing.types, minlength=count),
        cannot_forecast=np.bincount(
            standing.types[standing.is_unknown], minlength=count
        ),
        sites=sites,
        queue=queue_of(standing, days),
    )


def _drawn(fleet: FleetDue, kept: Sequence[KeptStock], currency: str) -> OrderList:
    types = [one.type for one in fleet.grouping.types]
    known = match_stock(kept, types)
    given = OrderInput(
        fleet=fleet.needs,
        types=types,
        stock=[
            known[place].figures if place in known else NOTHING_ENTERED
            for place in range(len(types))
        ],
        fitted=fleet.fitted,
        cannot_forecast=fleet.cannot_forecast,
        sites=fleet.sites,
    )
    return make_order_list(given, fleet.today, currency)
