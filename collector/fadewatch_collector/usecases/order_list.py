"""The order list: what the fleet's packs will need, less what is there already."""

import asyncio
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, Mask
from fadewatch_collector.analysis.crossing_draws import Forecasts
from fadewatch_collector.rules.order_draws import FleetNeeds
from fadewatch_collector.rules.order_list import (
    EPOCH,
    OrderInput,
    OrderList,
    make_order_list,
)
from fadewatch_collector.rules.pack_types import Described
from fadewatch_collector.rules.stock import NOTHING_ENTERED
from fadewatch_collector.rules.type_groups import Grouping, group_types
from fadewatch_collector.store import due_packs as rows
from fadewatch_collector.store.due_packs import DuePacks
from fadewatch_collector.store.stock import KeptStock, all_stock
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import match_stock

DUE_BANDS = frozenset({"plan", "replace"})
DUE_CONCERNS = frozenset({"replace", "inspect", "stop-use"})
"""What makes a pack due now: it is past the plan threshold, or a person has to see it."""


@dataclass(frozen=True, slots=True, eq=False)
class FleetStanding:
    """The packs in use, each with its type, and how its forecast stands."""

    packs: DuePacks
    grouping: Grouping
    types: CountArray
    is_due: Mask
    is_unknown: Mask


async def order_list(services: Services) -> OrderList:
    """Return today's order list."""
    today = services.clock().date()
    async with services.store.reading() as connection:
        packs = await rows.packs_in_use(connection)
        kept = await all_stock(connection)
    # Draws take the processor for a while: the loop goes on answering meanwhile.
    return await asyncio.to_thread(
        _made, packs, kept, today, services.settings.currency
    )


def standing_of(packs: DuePacks, grouping: Grouping | None = None) -> FleetStanding:
    """Group packs into types and say which are due, and which cannot be forecast.

    Parameters
    ----------
    grouping
        Of the whole fleet, where ``packs`` are only some of it.
    """
    described = [getattr(packs, name) for name in Described.__slots__]
    counted = Counter(zip(*described, strict=True))
    grouping = grouping or group_types(
        (Described(*said), n) for said, n in counted.items()
    )
    place = {said: grouping.place[Described(*said)] for said in counted}
    due = [
        band in DUE_BANDS or concern in DUE_CONCERNS
        for band, concern in zip(packs.band, packs.concern, strict=True)
    ]
    unknown = [band is None or band == "unknown" for band in packs.band]
    is_due = np.array(due, dtype=np.bool_)
    return FleetStanding(
        packs,
        grouping,
        np.fromiter(
            map(place.__getitem__, zip(*described, strict=True)),
            dtype=np.int64,
            count=len(packs),
        ),
        is_due,
        np.array(unknown, dtype=np.bool_) & ~is_due,
    )


def forecasts_of(standing: FleetStanding, today: date) -> Forecasts:
    """Return when each pack has to be replaced: today for those that are due."""
    day = float((today - EPOCH).days)
    packs = standing.packs
    since = np.minimum(_days(packs.as_of), _days(packs.last_seen))

    def settled(column: Sequence[int | None]) -> FloatArray:
        days = np.where(standing.is_unknown, np.nan, _days(column))
        return np.where(standing.is_due, day, days)

    return Forecasts(
        settled(packs.earliest),
        settled(packs.on),
        settled(packs.latest),
        np.where(standing.is_due, day, np.nan_to_num(np.minimum(since, day), nan=day)),
    )


def _days(column: Sequence[int | None]) -> FloatArray:
    return np.array(column, dtype=np.float64)


def _made(
    packs: DuePacks, kept: Sequence[KeptStock], today: date, currency: str
) -> OrderList:
    standing = standing_of(packs)
    types = [one.type for one in standing.grouping.types]
    known = match_stock(kept, types)
    sites = sorted(set(packs.site), key=lambda site: (site is None, site or ""))
    site_place = {site: place for place, site in enumerate(sites)}
    fleet = FleetNeeds(
        forecasts_of(standing, today),
        standing.types,
        np.array([site_place[site] for site in packs.site], dtype=np.int64),
        len(types),
        len(sites),
    )
    given = OrderInput(
        fleet=fleet,
        types=types,
        stock=[
            known[place].figures if place in known else NOTHING_ENTERED
            for place in range(len(types))
        ],
        fitted=np.bincount(standing.types, minlength=len(types)),
        cannot_forecast=np.bincount(
            standing.types[standing.is_unknown], minlength=len(types)
        ),
        sites=sites,
    )
    return make_order_list(given, today, currency)
