"""The packs in use, each with its type, in the order in which they are due."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, Mask
from fadewatch_collector.analysis.crossing_draws import Forecasts
from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.rules.order_list import EPOCH
from fadewatch_collector.rules.pack_types import Described
from fadewatch_collector.rules.type_groups import Grouping, group_types
from fadewatch_collector.store.due_packs import DuePacks

DueState = Literal["due now", "forecast", "not within ten years", "cannot be forecast"]

STATES: tuple[DueState, ...] = get_args(DueState)
_DUE, _FORECAST, _NOT_SOON, _UNKNOWN = range(len(STATES))
CONCERNS: tuple[Concern | None, ...] = (None, *get_args(Concern))

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


@dataclass(frozen=True, slots=True, eq=False)
class PackQueue:
    """Packs by type, and of each type those first that are due first.

    Arrays alone, since it is kept: a large fleet's takes a few megabytes.

    Parameters
    ----------
    starts
        Where each type begins, and last where the last one ends.
    ids
        Numbers of the packs.
    states, concerns
        Places in ``STATES`` and ``CONCERNS``.
    earliest, on, latest
        Days since 1970-01-01; NaN where there is no forecast ahead.
    """

    starts: CountArray
    ids: CountArray
    states: NDArray[np.int8]
    concerns: NDArray[np.int8]
    earliest: FloatArray
    on: FloatArray
    latest: FloatArray

    def of_type(self, place: int) -> range:
        """Return where the packs of a type are."""
        return range(int(self.starts[place]), int(self.starts[place + 1]))


def standing_of(packs: DuePacks) -> FleetStanding:
    """Group packs into types and say which are due, and which cannot be forecast."""
    described = [getattr(packs, name) for name in Described.__slots__]
    counted = Counter(zip(*described, strict=True))
    grouping = group_types((Described(*said), n) for said, n in counted.items())
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


def queue_of(standing: FleetStanding, days: Forecasts) -> PackQueue:
    """Put packs in order: by type, due ones first, then by their earliest day."""
    order = np.lexsort(
        (
            np.nan_to_num(days.on, nan=np.inf),
            np.nan_to_num(days.earliest, nan=np.inf),
            standing.is_unknown,
            ~standing.is_due,
            standing.types,
        )
    )
    states = np.select(
        [standing.is_due, standing.is_unknown, np.isnan(days.on)],
        [_DUE, _UNKNOWN, _NOT_SOON],
        _FORECAST,
    )
    place = {concern: number for number, concern in enumerate(CONCERNS)}
    concerns = np.fromiter(
        map(place.__getitem__, standing.packs.concern), np.int8, len(standing.packs)
    )

    def ahead(column: FloatArray) -> FloatArray:
        return np.where(standing.is_due, np.nan, column)[order]

    return PackQueue(
        starts=np.searchsorted(
            standing.types[order], np.arange(len(standing.grouping.types) + 1)
        ),
        ids=np.array(standing.packs.id, dtype=np.int64)[order],
        states=states.astype(np.int8)[order],
        concerns=concerns[order],
        earliest=ahead(days.earliest),
        on=ahead(days.on),
        latest=ahead(days.latest),
    )


def _days(column: Sequence[int | None]) -> FloatArray:
    return np.array(column, dtype=np.float64)
