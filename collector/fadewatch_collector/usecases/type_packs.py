"""The packs that make up a line of the order list, each with where it is and when."""

from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan

from fadewatch_collector.errors import NotFound
from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.rules.order_list import EPOCH
from fadewatch_collector.rules.pack_types import PackType, same_type
from fadewatch_collector.store import due_packs as rows
from fadewatch_collector.store.due_packs import DueLaptop
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.order_list import FleetDue
from fadewatch_collector.usecases.pack_queue import CONCERNS, STATES, DueState
from fadewatch_collector.usecases.services import Services

__all__ = [
    "DuePack",
    "DueState",
    "TypePacks",
    "laptops_to_look_at",
    "stream_due_packs",
    "type_packs",
]

LABELS_SHOWN = 3
"""Laptops named of a type in doubt: reading one label is enough. Own choice."""


@dataclass(frozen=True, slots=True)
class DuePack:
    """One pack in use; its dates are None unless there is a forecast ahead."""

    type: PackType
    at: DueLaptop
    concern: Concern | None
    state: DueState
    earliest: date | None
    on: date | None
    latest: date | None


@dataclass(frozen=True, slots=True)
class TypePacks:
    """A part of the packs of a type, the first that is due first."""

    type: PackType
    packs: Sequence[DuePack]
    more: bool


async def type_packs(
    services: Services, fleet: FleetDue, key: str, *, skip: int, limit: int
) -> TypePacks:
    """Return packs of a type, due ones first, then by their earliest day.

    Raises
    ------
    InvalidRequest
        The key is none.
    NotFound
        No pack in use is of that type.
    """
    types = [one.type for one in fleet.grouping.types]
    place = same_type(key, types)
    if place is None:
        raise NotFound("pack type in use", key[:80])
    ranked = fleet.queue.of_type(place)
    async with services.store.reading() as connection:
        packs = await _packs(connection, fleet, place, ranked[skip : skip + limit])
    return TypePacks(types[place], packs, len(ranked) > skip + limit)


async def laptops_to_look_at(
    services: Services, fleet: FleetDue, types: Sequence[PackType]
) -> dict[str, list[DueLaptop]]:
    """Return a few laptops of each type, by the type's key: whose label to read."""
    wanted = {kind.key for kind in types}
    some = {
        one.type.key: fleet.queue.ids[list(fleet.queue.of_type(place)[:LABELS_SHOWN])]
        for place, one in enumerate(fleet.grouping.types)
        if one.type.key in wanted
    }
    ids = [int(pack) for packs in some.values() for pack in packs]
    async with services.store.reading() as connection:
        at = await rows.due_laptops(connection, ids)
    return {
        key: [at[pack] for pack in map(int, packs) if pack in at]
        for key, packs in some.items()
    }


async def stream_due_packs(
    services: Services, fleet: FleetDue, chunk: int
) -> AsyncGenerator[Sequence[DuePack]]:
    """Yield every pack in use, by type and day, up to ``chunk`` at a time."""
    async with services.store.reading() as connection:
        for place in range(len(fleet.grouping.types)):
            ranked = fleet.queue.of_type(place)
            for start in range(0, len(ranked), chunk):
                part = ranked[start : start + chunk]
                yield await _packs(connection, fleet, place, part)


async def _packs(
    connection: WriteConnection, fleet: FleetDue, place: int, part: range
) -> list[DuePack]:
    """Return packs with where they sit; one taken out since is left out."""
    queue, kind = fleet.queue, fleet.grouping.types[place].type
    at = await rows.due_laptops(connection, [int(queue.ids[one]) for one in part])
    return [
        DuePack(
            kind,
            at[int(queue.ids[one])],
            CONCERNS[queue.concerns[one]],
            STATES[queue.states[one]],
            _day(queue.earliest[one]),
            _day(queue.on[one]),
            _day(queue.latest[one]),
        )
        for one in part
        if int(queue.ids[one]) in at
    ]


def _day(days: float) -> date | None:
    return None if isnan(days) else EPOCH + timedelta(days=int(days))
