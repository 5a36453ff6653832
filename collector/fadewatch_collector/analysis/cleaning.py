"""From histories to a rectangular batch of usable readings, newest at the right."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import (
    CountArray,
    DayArray,
    FloatArray,
    Mask,
    SingleArray,
)
from fadewatch_collector.analysis.medians import running_median_of_5
from fadewatch_collector.analysis.series import Histories

MOST_HEALTH = 1.3
"""Greatest credible full-charge capacity / design capacity; own choice.

New packs commonly read 1.0 to 1.1.
"""
LEAST_HEALTH = 0.02
"""Least credible full-charge capacity / design capacity; own choice."""
LONE_GAP_DAYS = 365
"""First readings this much older than the rest stem from a wrong clock [d]."""
MOST_LONE = 3
"""More readings than this before the gap are a real history [count]."""
LEAST_SPIKE = 0.04
"""Least departure of a spike from its neighbours [fraction of design]; own choice."""
SPIKE_DEVIATIONS = 5.0
LEAST_COLUMNS = 32
HELD_STEP = 2e-6
"""A gauge that moves by less holds its value [fraction of design]: rounding only."""
HELD_SHARE = 0.5
"""A gauge that repeats its value more often learns only now and then."""
LEARNT_NOISE = 0.012
"""Noise assumed of a learnt value while few were seen [fraction of design]."""
FEW_VALUES = 8
LEAST_NOISE = 0.002
"""Least noise assumed of a reading [fraction of design]: rounding and load."""


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Usable readings of some packs, one row each, right-aligned.

    Left of a pack's first reading stands its first reading again.

    Parameters
    ----------
    day
        [d since 1970-01-01]
    raw
        Full-charge capacity / design capacity of plausible readings.
    health
        The same with spikes replaced by the median of their neighbours.
    design
        Design capacity, in the unit it came in.
    cycles
        Cycle count; NaN unknown.
    count
        Usable readings of each pack.
    implausible
        Share of the newest readings that could not be used.
    noise
        Robust standard deviation of a reading [fraction of design].
    """

    day: SingleArray
    raw: SingleArray
    health: SingleArray
    design: SingleArray
    cycles: SingleArray
    count: CountArray
    implausible: FloatArray
    noise: FloatArray

    @property
    def real(self) -> Mask:
        """Where readings are, not filling."""
        columns = self.day.shape[1]
        mask: Mask = np.arange(columns) >= columns - self.count[:, None]
        return mask


def prepare(histories: Histories, as_of: DayArray) -> Batch:
    """Select the usable readings up to ``as_of`` and clean them of spikes."""
    packs = len(histories)
    pack = np.repeat(np.arange(packs), np.diff(histories.offsets))
    past = histories.day <= as_of[pack]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        health = histories.full / histories.design
        sane = (histories.full > 0) & (histories.design > 0)
    sane &= (health >= LEAST_HEALTH) & (health <= MOST_HEALTH)
    use = past & sane
    use &= ~_lone_start(pack, histories.day, use, packs)
    count = np.bincount(pack[use], minlength=packs)
    day = _aligned(histories.day[use].astype(np.float32), pack[use], count)
    raw = _aligned(health[use], pack[use], count)
    design = _aligned(histories.design[use], pack[use], count)
    cycles = _aligned(histories.cycles[use], pack[use], count)
    noise = _noise(raw, count)
    return Batch(
        day=day,
        raw=raw,
        health=_without_spikes(raw, noise),
        design=design,
        cycles=cycles,
        count=count,
        implausible=_implausible(pack, past, sane, packs),
        noise=noise,
    )


def _lone_start(pack: CountArray, day: DayArray, use: Mask, packs: int) -> Mask:
    """Find a few first readings years before the rest: the clock was wrong."""
    lone = np.zeros(day.size, dtype=np.bool_)
    kept = np.flatnonzero(use)
    if kept.size == 0:
        return lone
    owner = pack[kept]
    first = np.searchsorted(owner, np.arange(packs))
    rank = np.arange(kept.size) - first[owner]
    total = np.bincount(owner, minlength=packs)[owner]
    gap = np.diff(day[kept], prepend=day[kept[0]]) >= LONE_GAP_DAYS
    cut = gap & (rank > 0) & (rank <= MOST_LONE) & (total - rank > MOST_LONE)
    last_cut = np.zeros(packs, dtype=np.int64)
    np.maximum.at(last_cut, owner[cut], rank[cut])
    lone[kept] = rank < last_cut[owner]
    return lone


def _aligned(values: SingleArray, pack: CountArray, count: CountArray) -> SingleArray:
    """Lay flat values out in rows, right-aligned, each filled with its first value."""
    columns = max(int(count.max(initial=0)), LEAST_COLUMNS)
    ends = np.cumsum(count)
    out = np.zeros((count.size, columns), dtype=np.float32)
    column = np.arange(values.size) - ends[pack] + columns
    out[pack, column] = values
    some = count > 0
    first = np.zeros(count.size, dtype=np.float32)
    first[some] = values[(ends - count)[some]]
    filling = np.arange(columns) < columns - count[:, None]
    return np.where(filling, first[:, None], out)


def _noise(raw: SingleArray, count: CountArray) -> FloatArray:
    """Estimate noise from the differences of successive readings that differ.

    The median absolute difference of independent normal values is 0.9539 standard
    deviations (0.6745 times the root of two). A gauge that mostly repeats its value
    shows few differences, so some noise is assumed of each value it learns.
    """
    steps = np.abs(np.diff(raw, axis=1))
    steps.sort(axis=1)
    columns = steps.shape[1]
    known = np.maximum(count - 1, 0)
    moves = columns - np.sum(steps <= HELD_STEP, axis=1)
    middle = np.clip(columns - (moves + 1) // 2, 0, columns - 1)
    typical = np.take_along_axis(steps, middle[:, None], axis=1)[:, 0]
    estimate = typical.astype(np.float64) / 0.9539
    held = moves < HELD_SHARE * known
    few = held & (moves < FEW_VALUES)
    estimate = np.where(few, LEARNT_NOISE, estimate)
    estimate = np.where(
        known <= FEW_VALUES, np.maximum(estimate, LEARNT_NOISE), estimate
    )
    return np.maximum(estimate, LEAST_NOISE)


def _without_spikes(raw: SingleArray, noise: FloatArray) -> SingleArray:
    """Replace what departs from its neighbours' median for one or two readings."""
    middle = running_median_of_5(raw)
    limit = np.maximum(SPIKE_DEVIATIONS * noise, LEAST_SPIKE).astype(np.float32)
    return np.where(np.abs(raw - middle) > limit[:, None], middle, raw)


def _implausible(pack: CountArray, past: Mask, sane: Mask, packs: int) -> FloatArray:
    """Return the unusable share of each pack's newest `LEAST_COLUMNS` readings."""
    owner, good = pack[past], sane[past]
    ends = np.cumsum(np.bincount(owner, minlength=packs))
    newest = np.arange(owner.size) >= ends[owner] - LEAST_COLUMNS
    seen = np.bincount(owner[newest], minlength=packs)
    bad = np.bincount(owner[newest & ~good], minlength=packs)
    return bad / np.maximum(seen, 1)
