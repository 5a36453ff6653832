"""Sudden lasting losses of capacity, told apart from dips, gauges and plain fade."""

from dataclasses import dataclass, fields

import numpy as np

from fadewatch_collector.analysis.around import (
    Around,
    level_before,
    look_around,
    rate_before,
)
from fadewatch_collector.analysis.arrays import CountArray, Mask, SingleArray
from fadewatch_collector.analysis.cleaning import Batch
from fadewatch_collector.analysis.evidence import Evidence, Fall, weigh
from fadewatch_collector.analysis.falls import Falls, find_falls
from fadewatch_collector.analysis.figures import Drops
from fadewatch_collector.analysis.medians import ahead_median_of_5

LEAST_SCREEN = 0.05
"""Packs whose level never fell by so much need no second look [fraction of design]."""
BORNE_OUT = (
    (0.0, 8, 10),
    (0.0, 4, 11),
    (0.09, 6, 8),
    (0.09, 4, 9),
    (0.10, 4, 6),
    (0.12, 3, 2),
)
"""Least loss, and the readings and days that confirm it.

False cliffs of 6 to 8 % are back within days: a loss that they and a gauge's noise may
reach waits until they would be, one beyond their reach does not.
"""
CLUSTER = 20
"""Falls within so many readings are one event."""
EVENTS = 3
"""Newest events of a pack that are weighed."""


def find_drops(batch: Batch) -> Drops:
    """Find the newest sudden drop of each pack that still stands.

    A confirmed drop is shown before a newer one that is not yet.

    Notes
    -----
    A fall is measured twice: by medians at every reading, to find it, and by the mean
    of the middle half of the readings before and after, to weigh it. It must exceed
    what dips, noise and fade explain, and what a gauge may have hidden while it held
    its value or was silent. Large falls need few readings to be confirmed, small ones
    more and longer; a level that comes back withdraws any.
    """
    chosen = np.flatnonzero(_worth_a_look(batch))
    drops = _none(batch.count.size)
    if chosen.size == 0:
        return drops
    found = _find(_rows(batch, chosen))
    for one in fields(Drops):
        getattr(drops, one.name)[chosen] = getattr(found, one.name)
    return drops


def _worth_a_look(batch: Batch) -> Mask:
    ahead = ahead_median_of_5(batch.health)
    fall = level_before(batch.health, ahead) - ahead
    return np.asarray((fall >= LEAST_SCREEN).any(axis=1))


def _rows(batch: Batch, chosen: CountArray) -> Batch:
    return Batch(*(getattr(batch, one.name)[chosen] for one in fields(Batch)))


def _none(packs: int) -> Drops:
    nothing = np.full((3, packs), np.nan)
    return Drops(nothing[0], nothing[1], np.zeros(packs, dtype=np.bool_), nothing[2])


@dataclass(frozen=True, slots=True, eq=False)
class _Event:
    """One event of each pack, if any, and where to look for the one before it."""

    found: Mask
    drops: Drops
    remaining: Mask


def _find(batch: Batch) -> Drops:
    around = look_around(batch)
    usual = rate_before(batch, around, (40,))
    falls = find_falls(batch, around, usual)
    drops = _none(batch.count.size)
    remaining, weighed = falls.stands, 0
    while weighed < EVENTS and remaining.any():
        event = _newest(batch, around, falls, remaining, usual)
        known = ~np.isnan(drops.on)
        better = event.found & ~drops.confirmed & (event.drops.confirmed | ~known)
        for one in fields(Drops):
            told = getattr(event.drops, one.name)
            getattr(drops, one.name)[better] = told[better]
        remaining = event.remaining & ~drops.confirmed[:, None]
        weighed += 1
    return drops


def _newest(
    batch: Batch, around: Around, falls: Falls, remaining: Mask, usual: SingleArray
) -> _Event:
    """Weigh the newest event of each pack: it begins where health falls sharpest."""
    place = np.arange(remaining.shape[1])
    newest = np.where(remaining, place, -1).max(axis=1)
    cluster = remaining & (place >= newest[:, None] - CLUSTER)
    begin = np.argmax(np.where(cluster, falls.sharp, -np.inf), axis=1)
    largest = np.argmax(np.where(cluster, falls.size, -np.inf), axis=1)
    row = np.arange(len(begin))
    before = around.before[row, largest]
    fall = Fall(
        place=begin,
        before=before,
        size=falls.size[row, largest],
        held=falls.held[row, largest],
        usual=usual[row, begin],
    )
    there = newest >= 0
    safe = Fall(*(np.where(there, getattr(fall, f.name), 0) for f in fields(Fall)))
    evidence = weigh(batch, safe)
    found: Mask = there & evidence.enough
    told = Drops(
        on=batch.day[row, begin].astype(np.float64),
        size=evidence.size,
        confirmed=found & _borne_out(evidence),
        wear_before=1.0 - before.astype(np.float64),
    )
    return _Event(found, told, remaining & ~cluster)


def _borne_out(evidence: Evidence) -> Mask:
    borne = np.zeros(evidence.size.shape, dtype=np.bool_)
    for size, readings, days in BORNE_OUT:
        borne |= (
            (evidence.size >= size)
            & (evidence.readings >= readings)
            & (evidence.days >= days)
        )
    return borne
