"""Every pack of the fleet, for what is worked out over all of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, Mask
from fadewatch_collector.analysis.compared import Watched
from fadewatch_collector.analysis.crossing_draws import Forecasts
from fadewatch_collector.analysis.figures import BANDS
from fadewatch_collector.rules.held import ThresholdName
from fadewatch_collector.rules.pack_types import PackType
from fadewatch_collector.rules.type_groups import group_types
from fadewatch_collector.store.fleet_arrays import FleetArrays, read_packs
from fadewatch_collector.store.store import WriteConnection

_UNKNOWN, _PLAN, _REPLACE = (
    BANDS.index(band) for band in ("unknown", "plan", "replace")
)


@dataclass(frozen=True, slots=True, eq=False)
class FleetRows:
    """The packs of the fleet, each once.

    Attributes
    ----------
    types, kinds
        The pack types, and the number of each pack's own.
    """

    packs: FleetArrays
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
    packs = await read_packs(connection, common)
    counts = np.bincount(packs.said, minlength=len(packs.described)).tolist()
    grouping = group_types(zip(packs.described, counts, strict=True))
    places = [grouping.place[said] for said in packs.described]
    return FleetRows(
        packs,
        [one.type for one in grouping.types],
        np.array(places, dtype=np.int64)[packs.said],
    )


def watched(fleet: FleetRows) -> Watched:
    """Return what is known of the packs, for comparing their types."""
    packs = fleet.packs
    return Watched(
        made=packs.made,
        first_seen=packs.first_seen,
        last_seen=packs.last_seen,
        passed=packs.passed,
        known=packs.band != _UNKNOWN,
        fade=packs.fade,
    )


def ahead(fleet: FleetRows, name: ThresholdName) -> Ahead:
    """Return the packs in slots that have not passed a threshold, with forecasts."""
    packs = fleet.packs
    told = packs.is_in_slot & (packs.band != _UNKNOWN) & ~are_past(packs, name)
    which = np.flatnonzero(told)
    return Ahead(
        which,
        Forecasts(
            earliest=packs.ahead[f"{name}_earliest"][which],
            on=packs.ahead[f"{name}_on"][which],
            latest=packs.ahead[f"{name}_latest"][which],
            since=packs.last_seen[which],
        ),
    )


def are_past(packs: FleetArrays, name: ThresholdName) -> Mask:
    """Say of each pack whether its wear is past its threshold."""
    return packs.band >= (_PLAN if name == "plan" else _REPLACE)
