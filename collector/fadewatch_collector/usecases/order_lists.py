"""The present order list, kept in memory: drawing a large fleet's takes seconds."""

import asyncio
from collections.abc import Hashable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fadewatch_collector.rules.order_list import OrderList
from fadewatch_collector.store.order_stamp import order_stamp
from fadewatch_collector.usecases.order_list import order_list
from fadewatch_collector.usecases.services import Services

FRESH_FOR = timedelta(minutes=10)
"""How old a list may be that still answers. Own choice."""

HELD_FROM = 500
"""Packs from which on a list is kept [count]; a smaller one is drawn each time, so that
whoever tries something out sees it at once. Own choice."""

Key = tuple[date, Hashable]


@dataclass(frozen=True, slots=True)
class DrawnList:
    """An order list and the moment it was drawn at."""

    found: OrderList
    made_at: datetime


class OrderLists:
    """Gives the present order list, drawn once for all who ask meanwhile.

    The day is the seed of the draws, so within it the list follows packs, stock and
    policy only. A change of stock, policy, places or the register of removed packs
    shows at once; what laptops report shows after :data:`FRESH_FOR`. Make one for a
    process: its pages, files and API then agree.

    Parameters
    ----------
    held_from
        Packs from which on a list is kept [count].
    """

    def __init__(self, services: Services, held_from: int = HELD_FROM) -> None:
        self._services = services
        self._held_from = held_from
        self._held: tuple[Key, DrawnList] | None = None
        self._drawing: tuple[Key, asyncio.Task[DrawnList]] | None = None

    async def present(self) -> DrawnList:
        """Return the list of the present day, stock and policy."""
        now = self._services.clock()
        async with self._services.store.reading() as connection:
            key = now.date(), await order_stamp(connection)
        if self._held is not None:
            of, drawn = self._held
            if of == key and now - drawn.made_at < FRESH_FOR:
                return drawn
        if self._drawing is None or self._drawing[0] != key:
            self._drawing = key, asyncio.create_task(self._draw(key, now))
        # Whoever goes away meanwhile takes the list from nobody else.
        return await asyncio.shield(self._drawing[1])

    async def _draw(self, key: Key, now: datetime) -> DrawnList:
        mine = asyncio.current_task()
        try:
            drawn = DrawnList(await order_list(self._services), now)
        finally:
            is_newest = self._drawing is not None and self._drawing[1] is mine
            if is_newest:
                self._drawing = None
        if is_newest and drawn.found.fitted >= self._held_from:
            self._held = key, drawn
        return drawn
