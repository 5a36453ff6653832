"""The packs that make up a line of the order list, each with where it is and when."""

from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from fadewatch_collector.errors import NotFound
from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.rules.order_list import EPOCH
from fadewatch_collector.rules.pack_types import PackType, same_type
from fadewatch_collector.rules.type_groups import group_types
from fadewatch_collector.store import due_packs as rows
from fadewatch_collector.store.due_packs import DueLaptop
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.order_list import (
    FleetStanding,
    forecasts_of,
    standing_of,
)
from fadewatch_collector.usecases.services import Services

DueState = Literal["due now", "forecast", "not within ten years", "cannot be forecast"]

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
    services: Services, key: str, *, skip: int, limit: int
) -> TypePacks:
    """Return packs of a type, due ones first, then by their earliest day.

    Raises
    ------
    InvalidRequest
        The key is none.
    NotFound
        No pack in use is of that type.
    """
    today = services.clock().date()
    async with services.store.reading() as connection:
        described = await rows.described_packs(connection)
        grouping = group_types(described)
        types = [one.type for one in grouping.types]
        place = same_type(key, types)
        if place is None:
            raise NotFound("pack type in use", key[:80])
        named = {
            (said.maker, said.model)
            for said, at in grouping.place.items()
            if at == place
        }
        standing = standing_of(await rows.packs_in_use(connection, named), grouping)
        ranked = _ranked(standing, place, today)
        part = ranked[skip : skip + limit]
        packs = await _packs(connection, standing, part)
    return TypePacks(types[place], packs, len(ranked) > skip + limit)


async def laptops_to_look_at(
    services: Services, types: Sequence[PackType]
) -> dict[str, list[DueLaptop]]:
    """Return a few laptops of each type, by the type's key: whose label to read."""
    async with services.store.reading() as connection:
        grouping = group_types(await rows.described_packs(connection))
        wanted = {kind.key for kind in types}
        places = {
            place: one.type.key
            for place, one in enumerate(grouping.types)
            if one.type.key in wanted
        }
        named = {
            (said.maker, said.model)
            for said, place in grouping.place.items()
            if place in places
        }
        if not named:
            return {}
        standing = standing_of(await rows.packs_in_use(connection, named), grouping)
        some = {
            place: np.flatnonzero(standing.types == place)[:LABELS_SHOWN]
            for place in places
        }
        ids = [standing.packs.id[one] for found in some.values() for one in found]
        at = await rows.due_laptops(connection, ids)
    return {
        places[place]: [at[standing.packs.id[one]] for one in found]
        for place, found in some.items()
    }


async def stream_due_packs(
    services: Services, chunk: int
) -> AsyncGenerator[Sequence[DuePack]]:
    """Yield every pack in use, by type and day, up to ``chunk`` at a time."""
    today = services.clock().date()
    async with services.store.reading() as connection:
        standing = standing_of(await rows.packs_in_use(connection))
        for place in range(len(standing.grouping.types)):
            ranked = _ranked(standing, place, today)
            for start in range(0, len(ranked), chunk):
                part = ranked[start : start + chunk]
                yield await _packs(connection, standing, part)


def _ranked(standing: FleetStanding, place: int, today: date) -> list[int]:
    """Return where the packs of a type are, the first that is due first."""
    found = np.flatnonzero(standing.types == place)
    days = forecasts_of(standing, today)
    rank = np.lexsort(
        (
            found,
            np.nan_to_num(days.on[found], nan=np.inf),
            np.nan_to_num(days.earliest[found], nan=np.inf),
            standing.is_unknown[found],
            ~standing.is_due[found],
        )
    )
    return [int(one) for one in found[rank]]


async def _packs(
    connection: WriteConnection,
    standing: FleetStanding,
    places: Sequence[int],
) -> list[DuePack]:
    packs = standing.packs
    at = await rows.due_laptops(connection, [packs.id[place] for place in places])
    types = standing.grouping.types
    return [
        DuePack(
            types[standing.types[place]].type,
            at[packs.id[place]],
            packs.concern[place],
            *_when(standing, place),
        )
        for place in places
    ]


def _when(
    standing: FleetStanding, place: int
) -> tuple[DueState, date | None, date | None, date | None]:
    packs = standing.packs
    if standing.is_due[place]:
        return "due now", None, None, None
    if standing.is_unknown[place]:
        return "cannot be forecast", None, None, None
    days = (packs.earliest[place], packs.on[place], packs.latest[place])
    earliest, on, latest = (
        None if day is None else EPOCH + timedelta(days=day) for day in days
    )
    return ("not within ten years" if on is None else "forecast"), earliest, on, latest
