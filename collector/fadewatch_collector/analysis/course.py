"""The course of each pack: one pack's readings only, sudden drops taken out."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import FloatArray, Mask, SingleArray
from fadewatch_collector.analysis.cleaning import HELD_SHARE, HELD_STEP, Batch
from fadewatch_collector.analysis.figures import Drops
from fadewatch_collector.analysis.medians import ahead_median_of_5, shift

LEAST_RISE = 0.10
"""A lasting rise of so much is another pack or a gauge set right [fraction of design].

Relearning lifts the reading by 2 to 10 %.
"""
LEVEL_READINGS = 9
"""Newest readings that make up the level now."""
AFTER_DROP_DAYS = 45
"""So long after a drop its own fade is known and earlier readings can go [d]."""


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What of each history counts for level, rate and forecast.

    Parameters
    ----------
    health
        Full-charge capacity / design capacity; readings before a confirmed drop are
        lowered by its size, so that only fade is left.
    use
        Readings of the pack in place now.
    learnt
        Those of ``use`` that tell something new: all, or where a gauge mostly repeats
        its value, the readings at which it changed.
    start
        First day of ``use`` [d since 1970-01-01].
    """

    health: SingleArray
    use: Mask
    learnt: Mask
    start: FloatArray


def follow(batch: Batch, drops: Drops) -> Course:
    """Lay out the course of each pack."""
    columns = batch.day.shape[1]
    place = np.arange(columns)
    use = batch.real & (place >= _newest_pack(batch)[:, None])
    dropped = drops.confirmed & ~np.isnan(drops.on)
    before = dropped[:, None] & (batch.day < np.nan_to_num(drops.on)[:, None])
    lowered = batch.health - np.nan_to_num(drops.size)[:, None].astype(np.float32)
    health = np.where(before, lowered, batch.health)
    old = before & (
        batch.day[:, -1:] - np.nan_to_num(drops.on)[:, None] >= (AFTER_DROP_DAYS)
    )
    use &= ~old
    first = np.argmax(use, axis=1)
    start = batch.day[np.arange(len(first)), first].astype(np.float64)
    return Course(health, use, _learnt(batch, use), start)


def _newest_pack(batch: Batch) -> FloatArray:
    """Return the column from which readings are of the pack in place now."""
    ahead = ahead_median_of_5(batch.health)
    rise = ahead - shift(ahead, 5)
    columns = batch.day.shape[1]
    place = np.arange(columns)
    inside = batch.real & (place <= columns - 5)
    first = columns - batch.count[:, None]
    risen = inside & (rise >= LEAST_RISE) & (place >= first + 5)
    sharpest = np.where(risen, batch.health - shift(batch.health, 1), -np.inf)
    newest = np.where(risen, place, -1).max(axis=1)
    near = place >= newest[:, None] - 5
    chosen = np.argmax(np.where(near, sharpest, -np.inf), axis=1)
    rose = np.where(newest >= 0, chosen, 0)
    return np.maximum(rose, _newest_design(batch)).astype(np.float64)


def _newest_design(batch: Batch) -> FloatArray:
    """Return the column after the last run of another design capacity."""
    now = np.median(batch.design[:, -5:], axis=1)[:, None]
    other = np.abs(batch.design - now) > 0.02 * now
    lasting = other & shift(other, 1) & shift(other, 2)
    columns = batch.day.shape[1]
    last = columns - np.argmax(lasting[:, ::-1], axis=1)
    column: FloatArray = np.where(lasting.any(axis=1), last, 0).astype(np.float64)
    return column


def _learnt(batch: Batch, use: Mask) -> Mask:
    moved = np.zeros(use.shape, dtype=np.bool_)
    moved[:, 1:] = np.abs(np.diff(batch.health, axis=1)) > HELD_STEP
    held = np.sum(moved & use, axis=1) < HELD_SHARE * np.sum(use, axis=1)
    learnt: Mask = use & (moved | ~held[:, None])
    return learnt


def level_now(batch: Batch, course: Course, fade: FloatArray) -> FloatArray:
    """Return health at the newest reading: a median, carried along at the fade rate.

    Never outside what the newest readings showed: a gauge that holds one value for
    days is taken at its word.

    Parameters
    ----------
    fade
        Loss a day [1/d].
    """
    health = course.health[:, -LEVEL_READINGS:]
    day = batch.day[:, -LEVEL_READINGS:]
    use = course.use[:, -LEVEL_READINGS:]
    carried = health - fade[:, None] * (day[:, -1:] - day)
    level = _row_median(np.where(use, carried, np.nan))
    least = np.min(np.where(use, health, np.inf), axis=1)
    most = np.max(np.where(use, health, -np.inf), axis=1)
    within: FloatArray = np.minimum(np.maximum(level, least), most)
    return within


def _row_median(values: FloatArray) -> FloatArray:
    """Return the median of each row's known values; NaN without one."""
    ranked = np.sort(values, axis=1)
    known = np.sum(~np.isnan(ranked), axis=1)
    row = np.arange(len(ranked))
    low = ranked[row, np.maximum(known - 1, 0) // 2]
    high = ranked[row, np.minimum(known // 2, ranked.shape[1] - 1)]
    middle: FloatArray = (low + high) / 2.0
    return middle
