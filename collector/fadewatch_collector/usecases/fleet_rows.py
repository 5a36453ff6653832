"""Every pack of the fleet as arrays, for what is worked out over all of them."""

from collections import Counter
from collections.abc import Sequence
from contextlib import aclosing
from dataclasses import dataclass
from datetime import date

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, Mask
from fadewatch_collector.analysis.compared import Watched
from fadewatch_collector.analysis.crossing_draws import Forecasts
from fadewatch_collector.rules.held import ThresholdName
from fadewatch_collector.rules.pack_types import PackType
from fadewatch_collector.rules.type_groups import group_types
from fadewatch_collector.store.fleet_view import PackRow, stream_packs
from fadewatch_collector.store.store import WriteConnection

CHUNK = 2_000
"""Packs read at a time [count]. Own choice."""

EPOCH = date(1970, 1, 1).toordinal()


@dataclass(frozen=True, slots=True, eq=False)
class FleetRows:
    """The packs of the fleet, each once.

    Attributes
    ----------
    types, kinds
        The pack types, and the number of each pack's own.
    """

    packs: Sequence[PackRow]
    types: Sequence[PackType]
    kinds: CountArray


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """Packs in slots that have a threshold still before them.

    Attributes
    ----------
    which
        Their places among the packs.
    """

    which: CountArray
    forecasts: Forecasts


async def read_fleet(connection: WriteConnection, common: float) -> FleetRows:
    """Read every pack, with its passing of the threshold common to all."""
    packs: dict[int, PackRow] = {}
    async with aclosing(stream_packs(connection, common, CHUNK)) as chunks:
        async for chunk in chunks:
            # A pack that two slots claim comes twice.
            packs |= {pack.id: pack for pack in chunk}
    rows = list(packs.values())
    grouping = group_types(Counter(pack.said for pack in rows).items())
    return FleetRows(
        rows,
        [one.type for one in grouping.types],
        np.array([grouping.place[pack.said] for pack in rows], dtype=np.int64),
    )


def watched(fleet: FleetRows) -> Watched:
    """Return what is known of the packs, for comparing their types."""
    packs = fleet.packs
    return Watched(
        made=_days([pack.made_on for pack in packs]),
        first_seen=_days([pack.first_seen_at.date() for pack in packs]),
        last_seen=_days([pack.last_seen_at.date() for pack in packs]),
        passed=_days([pack.passed_on for pack in packs]),
        known=_mask([pack.band != "unknown" for pack in packs]),
        fade=np.array(
            [
                np.nan if pack.own_fade_per_month is None else pack.own_fade_per_month
                for pack in packs
            ],
            dtype=np.float64,
        ),
    )


def ahead(fleet: FleetRows, name: ThresholdName) -> Ahead:
    """Return the packs in slots that have not passed a threshold, with forecasts."""
    told = [
        (place, pack, pack.plan if name == "plan" else pack.replace)
        for place, pack in enumerate(fleet.packs)
        if pack.is_in_slot and pack.band != "unknown" and not is_past(pack, name)
    ]
    return Ahead(
        np.array([place for place, _, _ in told], dtype=np.int64),
        Forecasts(
            earliest=_days([days[0] for _, _, days in told]),
            on=_days([days[1] for _, _, days in told]),
            latest=_days([days[2] for _, _, days in told]),
            since=_days([pack.last_seen_at.date() for _, pack, _ in told]),
        ),
    )


def is_past(pack: PackRow, name: ThresholdName) -> bool:
    """Say whether a pack's wear is past its threshold."""
    if pack.band == "unknown":
        return False
    return pack.band == "replace" or (name == "plan" and pack.band == "plan")


def _days(days: Sequence[date | None]) -> FloatArray:
    return np.array(
        [np.nan if day is None else day.toordinal() - EPOCH for day in days],
        dtype=np.float64,
    )


def _mask(values: Sequence[bool]) -> Mask:
    return np.array(values, dtype=np.bool_)
