"""How packs are charged: told every night for the list, and at once for one pack."""

import asyncio
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from fadewatch_collector.analysis.figures import DAYS_PER_MONTH
from fadewatch_collector.errors import NotFound
from fadewatch_collector.rules.charging import (
    LONGER_DAYS,
    ChargingHabit,
    habit_of,
    habits_of,
)
from fadewatch_collector.rules.charging_day import ChargingDay
from fadewatch_collector.rules.charging_words import FadeBeside, sentences
from fadewatch_collector.rules.paging import ranked_cursor, ranked_key
from fadewatch_collector.store import charging as rows
from fadewatch_collector.store import pages
from fadewatch_collector.store.charging import ChargingFilter, ChargingRow, LimitKnown
from fadewatch_collector.store.charging_days import load_charging_days
from fadewatch_collector.store.histories import pack_ids_after
from fadewatch_collector.store.pack_page import pack_detail
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.values import get_value, set_value
from fadewatch_collector.usecases.borrowing import learnt_pools
from fadewatch_collector.usecases.services import Services

__all__ = [
    "ChargingFilter",
    "ChargingList",
    "ChargingRow",
    "LimitKnown",
    "PackCharging",
    "charging_list",
    "charging_of",
    "pack_charging",
    "tell_habits",
]

BATCH = 500
"""Packs whose habit is told at once. Own choice."""

PAGE_ROWS = 50
"""Rows of the list on one page [count]. Own choice."""

AS_OF = "charging-habits-as-of"


@dataclass(frozen=True, slots=True, kw_only=True)
class PackCharging:
    """How one pack is charged, with its days (oldest first) and what is said of it."""

    habit: ChargingHabit
    fade: FadeBeside | None
    days: Sequence[ChargingDay]

    @property
    def said(self) -> tuple[str, ...]:
        """What is said of it, in sentences."""
        return sentences(self.habit, self.fade)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargingList:
    """A page of the list; ``next_cursor`` is None on the last one.

    Attributes
    ----------
    as_of
        Day that the habits were told on; None: they have not been yet.
    fades
        By pack number, where both its own fade and a typical one are known.
    """

    rows: Sequence[ChargingRow]
    fades: Mapping[int, FadeBeside]
    next_cursor: str | None
    sites: Sequence[str]
    as_of: date | None


async def tell_habits(services: Services) -> int:
    """Tell the charging habit of every pack anew; returns of how many."""
    today = services.clock().date()
    after, count = 0, 0
    while True:
        async with services.store.reading() as connection:
            packs = await pack_ids_after(connection, after, BATCH)
            known, days = await load_charging_days(connection, packs, _since(today))
        if not packs:
            break
        if known:
            # Counting takes the processor for a while: the loop goes on answering.
            habits = await asyncio.to_thread(habits_of, days, len(known), today)
            told = list(zip(known, habits, strict=True))
            async with services.store.writing() as connection:
                await rows.save_habits(connection, told)
        after, count = packs[-1], count + len(known)
    async with services.store.writing() as connection:
        await rows.forget_habits_before(connection, today)
        await set_value(connection, AS_OF, today.isoformat())
    return count


def _since(today: date) -> date:
    return today - timedelta(days=LONGER_DAYS - 1)


async def charging_list(
    services: Services,
    wanted: ChargingFilter,
    cursor: str | None = None,
    limit: int = PAGE_ROWS,
) -> ChargingList:
    """Return a page of the packs of which a charge limit is worth considering.

    Raises
    ------
    InvalidRequest
        The cursor is not one that a page has given.
    """
    after = None if cursor is None else ranked_key(cursor)
    async with services.store.reading() as connection:
        # One row more than shown tells whether there is a next page.
        found = await rows.charging_rows(
            connection, wanted, after=after, limit=limit + 1
        )
        shown = found[:limit]
        as_of = await get_value(connection, AS_OF)
        return ChargingList(
            rows=shown,
            fades=await _fades(connection, [row.pack_id for row in shown]),
            next_cursor=ranked_cursor(shown[-1].key) if len(found) > limit else None,
            sites=await pages.sites(connection),
            as_of=date.fromisoformat(as_of) if as_of else None,
        )


async def charging_of(
    connection: WriteConnection, pack_ids: Collection[int], today: date
) -> dict[int, PackCharging]:
    """Return how packs are charged by what is known now."""
    days = await rows.charging_days(connection, pack_ids, _since(today))
    fades = await _fades(connection, pack_ids)
    stopped = await rows.stopped_packs(connection, pack_ids)
    return {
        pack_id: PackCharging(
            habit=replace(
                habit_of(days.get(pack_id, ()), today), is_stopped=pack_id in stopped
            ),
            fade=fades.get(pack_id),
            days=days.get(pack_id, ()),
        )
        for pack_id in pack_ids
    }


async def pack_charging(services: Services, pack_id: int) -> PackCharging:
    """Return how one pack is charged by what is known now.

    Raises
    ------
    NotFound
        There is no such pack.
    """
    async with services.store.reading() as connection:
        if await pack_detail(connection, pack_id) is None:
            raise NotFound("pack", pack_id)
        found = await charging_of(connection, [pack_id], services.clock().date())
    return found[pack_id]


async def _fades(
    connection: WriteConnection, pack_ids: Collection[int]
) -> dict[int, FadeBeside]:
    own = await rows.own_fades_of(connection, pack_ids)
    pools = await learnt_pools(connection)
    found: dict[int, FadeBeside] = {}
    for pack_id, (pack_type, fade) in own.items():
        is_of_type = bool(pack_type) and pack_type in pools
        typical = pools.get(pack_type if is_of_type else "")
        if typical:
            found[pack_id] = FadeBeside(fade, typical[0] * DAYS_PER_MONTH, is_of_type)
    return found
