"""The present order list, kept in memory: drawing a large fleet's takes seconds."""

import asyncio
from collections.abc import Awaitable, Callable, Hashable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Generic, TypeVar

from fadewatch_collector.rules.order_list import OrderList
from fadewatch_collector.store.order_stamp import OrderStamp, order_stamp
from fadewatch_collector.usecases.order_list import FleetDue, drawn_list, read_fleet
from fadewatch_collector.usecases.services import Services

FRESH_FOR = timedelta(minutes=10)
"""How old what was read of the packs may be. Own choice."""

HELD_FROM = 500
"""Packs from which on a fleet is kept [count]; a smaller one is read each time, so that
whoever tries something out sees it at once. Own choice."""

_Made = TypeVar("_Made")


@dataclass(frozen=True, slots=True)
class DrawnList:
    """An order list and the fleet that it was drawn for."""

    found: OrderList
    fleet: FleetDue

    @property
    def made_at(self) -> datetime:
        """The moment that its packs were read at."""
        return self.fleet.made_at


class OrderLists:
    """Gives the present order list, drawn once for all who ask meanwhile.

    The day is the seed of the draws, so within it the list follows packs and stock
    only. A change of stock, policy, places or the register of removed packs shows at
    once; what laptops report shows after :data:`FRESH_FOR`. Make one for a process: its
    pages, files and API then agree.

    Parameters
    ----------
    held_from
        Packs from which on a fleet is kept [count].
    """

    def __init__(self, services: Services, held_from: int = HELD_FROM) -> None:
        self._services = services
        self._held_from = held_from
        self._fleets: _Kept[FleetDue] = _Kept()
        self._lists: _Kept[OrderList] = _Kept()

    async def present(self) -> DrawnList:
        """Return the list of the present day, packs and stock."""
        stamp = await self._stamp()
        fleet = await self._fleet(stamp)
        found = await self._lists.get(
            (fleet, stamp.stock), lambda: drawn_list(self._services, fleet)
        )
        return DrawnList(found, fleet)

    async def fleet(self) -> FleetDue:
        """Return the packs in use, as the present list sees them."""
        return await self._fleet(await self._stamp())

    async def _stamp(self) -> OrderStamp:
        async with self._services.store.reading() as connection:
            return await order_stamp(connection)

    async def _fleet(self, stamp: OrderStamp) -> FleetDue:
        now = self._services.clock()
        return await self._fleets.get(
            (now.date(), stamp.others),
            lambda: read_fleet(self._services),
            lambda fleet: (
                now - fleet.made_at < FRESH_FOR
                and fleet.fitted.sum() >= self._held_from
            ),
        )


class _Kept(Generic[_Made]):
    """One thing by a key, made once for all who ask for it meanwhile."""

    def __init__(self) -> None:
        self._there: tuple[Hashable, _Made] | None = None
        self._making: tuple[Hashable, asyncio.Task[_Made]] | None = None

    async def get(
        self,
        key: Hashable,
        make: Callable[[], Awaitable[_Made]],
        still_good: Callable[[_Made], bool] = lambda _made: True,
    ) -> _Made:
        """Return what is there if it has this key and is good; else have it made."""
        if self._there is not None and self._there[0] == key:
            made = self._there[1]
            if still_good(made):
                return made
        if self._making is None or self._making[0] != key:
            self._making = key, asyncio.create_task(self._make(key, make))
        # Whoever goes away meanwhile takes it from nobody else.
        return await asyncio.shield(self._making[1])

    async def _make(self, key: Hashable, make: Callable[[], Awaitable[_Made]]) -> _Made:
        mine = asyncio.current_task()
        is_newest = False
        try:
            made = await make()
        finally:
            if self._making is not None and self._making[1] is mine:
                self._making = None
                is_newest = True
        if is_newest:
            self._there = key, made
        return made
