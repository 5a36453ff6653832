"""What the readings around a fall say of it: its size once more, and whether it stays."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import (
    CountArray,
    FloatArray,
    Mask,
    SingleArray,
)
from fadewatch_collector.analysis.cleaning import Batch
from fadewatch_collector.analysis.figures import DAYS_PER_MONTH

LEAST_DROP = 0.075
"""Least drop that counts [fraction of design]: dips reach 7 %, drops begin at 8 %."""
DOUBTS = 1.0
"""How many standard deviations of a measured loss are added to it.

Dips are far more frequent than drops so small: in the middle a fall is mostly a dip.
"""
USUAL_WANDER, USUAL_WORTH = 0.6, 4.0
"""What a level is thought to change by from one to the next, in parts of the noise,
and how many changes seen weigh as much; own choice."""
BLOCK, BLOCKS = 15, 8
"""Levels before a fall that show how much they change: readings in each, and how many."""
NEAR_MISS = 0.6
"""A reading below the level before by this share of the fall shows it."""
FOLLOWED_DAYS, FOLLOWED = 25, 15
"""Readings after a fall that are weighed: days from its first, and how many."""
BEFORE, BEFORE_DAYS, LEAST_BEFORE = 14, 30, 4
"""Readings before it that are weighed: how many, from how long ago, and how few do."""
LANDING_PART = 0.2
"""Readings higher than the rest by this share of the fall are still on the way down."""
MOST_PLAIN_DAYS = 30
"""So many days of the usual fade are taken off [d]."""
UNHIDING_DAYS = 0.9 * DAYS_PER_MONTH
"""A hold of so many days hides no more than what is taken off anyway [d]; own choice."""
HELD_FADE, WORN_HELD_FADE = 0.03 / DAYS_PER_MONTH, 0.05 / DAYS_PER_MONTH
"""Fade that a held gauge may hide beyond that, fresh and worn packs [1/d].

As fast as after a knee that multiplies a common 1 % a month by 3 to 5; own choice.
"""
FRESH, WORN = 0.10, 0.30
"""Wear between which the one passes into the other; own choice."""
HELD_ENOUGH = 0.10
"""Most of that [fraction of design]; own choice, a gauge so far off soon learns."""
LONG_HELD_DAYS = 120
LONG_HELD_FADE = 0.01 / DAYS_PER_MONTH
"""Fade that may be hidden for every day beyond those [1/d]; own choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What is known of one fall of each pack.

    Parameters
    ----------
    size
        Loss, from all readings that show it [fraction of design].
    readings, days
        The longest run of readings that show it, and the time it took [d].
    enough
        The loss is larger than noise, dips and what a held gauge hid explain.
    """

    size: FloatArray
    readings: CountArray
    days: FloatArray
    enough: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Fall:
    """One fall of each pack.

    Parameters
    ----------
    place
        Column at which it begins.
    before
        Level before it.
    size
        Loss as first measured [fraction of design].
    held
        How long the gauge had held its value, or been silent [d].
    usual
        Fade before it [1/d].
    """

    place: CountArray
    before: SingleArray
    size: SingleArray
    held: SingleArray
    usual: SingleArray


def weigh(batch: Batch, fall: Fall) -> Evidence:
    """Weigh one fall of each pack by every reading near it."""
    low = _low(batch, fall)
    start = np.where(low.any(axis=1), np.argmax(low, axis=1), fall.place)
    size = np.where(low.any(axis=1), _size(batch, fall, start), 0.0)
    readings, days = _longest_run(batch, low)
    least = LEAST_DROP + DOUBTS * _wander(batch, fall)
    return Evidence(size, readings, days, size >= least + _hidden(fall))


def _wander(batch: Batch, fall: Fall) -> FloatArray:
    """Return by how much levels before a fall differ from one to the next.

    It is what the measured size of a fall is unsure by: the memory of noise, the habits
    of the gauge and fade are in it, and one step among many does not change a median.
    """
    columns = batch.day.shape[1]
    row = np.arange(len(fall.place))[:, None]
    place = fall.place[:, None] - 1 - np.arange(BLOCK * BLOCKS)
    real = place >= (columns - batch.count)[:, None]
    health = batch.health[row, np.maximum(place, 0)].reshape(-1, BLOCKS, BLOCK)
    whole = real.reshape(-1, BLOCKS, BLOCK).all(axis=2)
    level = health.mean(axis=2, dtype=np.float64)
    change = np.diff(level, axis=1)
    known = whole[:, 1:] & whole[:, :-1]
    seen = known.sum(axis=1)
    ranked = np.sort(np.where(known, np.abs(change), np.inf), axis=1)
    middle = np.take_along_axis(ranked, np.maximum(seen - 1, 0)[:, None] // 2, axis=1)
    # The median of absolute normal values is 0.6745 standard deviations.
    spread = np.where(seen > 0, middle[:, 0] / 0.6745, 0.0)
    usual = np.square(USUAL_WANDER * batch.noise)
    total = USUAL_WORTH * usual + seen * np.square(spread)
    return np.asarray(np.sqrt(total / (USUAL_WORTH + seen)))


def _low(batch: Batch, fall: Fall) -> Mask:
    """Say which readings soon after a fall show it."""
    place = np.arange(batch.day.shape[1])
    most = (fall.before - NEAR_MISS * fall.size)[:, None]
    # The newest readings of a level that comes back still pass as spikes when cleaned.
    low = np.maximum(batch.health, batch.raw) <= most
    since = place - fall.place[:, None]
    near: Mask = low & (since >= 0) & (since < FOLLOWED_DAYS)
    return near


def _longest_run(batch: Batch, low: Mask) -> tuple[CountArray, FloatArray]:
    columns = low.shape[1]
    place = np.arange(columns)
    last_other = np.maximum.accumulate(np.where(low, -1, place), axis=1)
    first = np.minimum(last_other + 1, columns - 1)
    days = batch.day - np.take_along_axis(batch.day, first, axis=1)
    readings = np.where(low, place - last_other, 0).max(axis=1)
    return readings, np.where(low, days, 0).max(axis=1).astype(np.float64)


def _size(batch: Batch, fall: Fall, start: CountArray) -> FloatArray:
    """Return the loss from the readings before ``start`` to those from it on."""
    columns = batch.day.shape[1]
    row = np.arange(len(start))[:, None]
    count = np.arange(BEFORE)
    earlier = start[:, None] - 1 - count
    later = start[:, None] + np.arange(FOLLOWED)
    past, next_ = np.maximum(earlier, 0), np.minimum(later, columns - 1)
    began = batch.day[row, start[:, None]]
    ago, since = began - batch.day[row, past], batch.day[row, next_] - began
    level, size = fall.before[:, None], fall.size[:, None]
    high, low = batch.health[row, past], batch.health[row, next_]
    old = earlier >= (columns - batch.count)[:, None]
    old &= ((ago <= BEFORE_DAYS) | (count < BEFORE // 2)) & (high > level - 0.4 * size)
    new = (later < columns) & (since <= FOLLOWED_DAYS) & (low < level - 0.5 * size)
    new = _landed(low, new, np.maximum(LANDING_PART * size, 2 * batch.noise[:, None]))
    apart = np.minimum(_mean(ago, old) + _mean(since, new), MOST_PLAIN_DAYS)
    loss = _middle_mean(high, old) - _middle_mean(low, new) - fall.usual * apart
    told = (old.sum(axis=1) >= LEAST_BEFORE) & new.any(axis=1)
    return np.where(told, loss, fall.size)


def _landed(values: SingleArray, use: Mask, margin: FloatArray) -> Mask:
    """Leave out readings of the way down."""
    down: Mask = use & (values < _middle_mean(values, use)[:, None] + margin)
    return down


def _mean(values: SingleArray, use: Mask) -> FloatArray:
    mean: FloatArray = np.where(use, values, 0).sum(axis=1) / np.maximum(
        use.sum(axis=1), 1
    )
    return mean


def _middle_mean(values: SingleArray, use: Mask) -> FloatArray:
    """Return the mean of the middle half of the values in use; 0 without one."""
    ranked = np.sort(np.where(use, values, np.inf).astype(np.float64), axis=1)
    known = use.sum(axis=1)[:, None]
    rank = np.arange(values.shape[1])
    middle = (rank >= known // 4) & (rank < np.ceil(0.75 * known))
    return _mean(np.where(middle, ranked, 0).astype(np.float32), middle)


def _hidden(fall: Fall) -> FloatArray:
    """Return the fade that a gauge may have hidden while it held or was silent."""
    worn = np.clip((1 - fall.before - FRESH) / (WORN - FRESH), 0, 1)
    pace = HELD_FADE + worn * (WORN_HELD_FADE - HELD_FADE)
    days = np.maximum(fall.held - UNHIDING_DAYS, 0).astype(np.float64)
    late = LONG_HELD_FADE * np.maximum(days - LONG_HELD_DAYS, 0)
    hidden: FloatArray = np.minimum(pace * days, HELD_ENOUGH) + late
    return hidden
