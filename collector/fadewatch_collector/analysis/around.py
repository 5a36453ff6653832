"""What stands before and after each reading: levels, rates, and how long they stood."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, Mask, SingleArray
from fadewatch_collector.analysis.cleaning import HELD_STEP, Batch
from fadewatch_collector.analysis.medians import (
    ahead_median_of_5,
    median_of_3,
    shift,
)

WINDOW = 15
"""Readings that make up the level before a reading, and after it once they are there."""
REACH_DAYS = 25
"""Later readings tell nothing of a fall: plain fade has gone on since [d]; own choice."""
MOST_BUMP = 0.03
"""A level before that stands out from weeks of levels is lowered by so much at most.

After a rest, capacity comes back by 1 to 5 % of design for some days [fraction].
"""
UNSEEN_HOLD_DAYS = 150
"""How long a value held since the first reading may have been held before it [d]."""
LEARNT_AFTER = 9
"""From so many readings for three learnt values on, those make the level before."""
LEAST_KNOWN_HOLD_DAYS = 7
"""A first value that moves sooner was not held [d]."""
LEAST_HELD_DAYS = 10
"""Shorter holds and gaps hide nothing worth speaking of [d]."""
LEAST_MOVE = 0.01
"""A hold that ends in a smaller fall hid no large one [fraction of design]."""
RESERVE = 1.3
"""Fade may have been so many times the fastest seen before; own choice."""
LEAST_RUN_DAYS = 8
"""Least time over which fade after a drop can be told [d]."""


@dataclass(frozen=True, slots=True, eq=False)
class Around:
    """Levels around each reading, as if it were the first of a drop.

    Parameters
    ----------
    before
        Level of the readings before.
    ahead
        Median of the reading and the four after it.
    landed
        Level of up to `WINDOW` readings from it on, within `REACH_DAYS`.
    left
        Readings from it to the newest, itself included.
    held
        How long the gauge had held its value, or been silent, when it came [d];
        0 for less than `LEAST_HELD_DAYS`.
    """

    before: SingleArray
    ahead: SingleArray
    landed: SingleArray
    left: CountArray
    held: SingleArray


def level_before(health: SingleArray, ahead: SingleArray) -> SingleArray:
    """Return the level of the 15 readings before each: a median of three medians."""
    return median_of_3(shift(ahead, 5), shift(ahead, 10), shift(ahead, WINDOW))


def look_around(batch: Batch) -> Around:
    """Work out the levels around each reading of each pack."""
    ahead = ahead_median_of_5(batch.health)
    near = level_before(batch.health, ahead)
    left = batch.day.shape[1] - np.arange(batch.day.shape[1])
    days, learnt, long = _holds(batch)
    before = np.where(long, np.minimum(near, learnt), near)
    return Around(
        before=np.minimum(before, _without_bump(batch, near)),
        ahead=ahead,
        landed=_landed(batch, ahead, left),
        left=left,
        held=_held(batch, days),
    )


def _without_bump(batch: Batch, near: SingleArray) -> SingleArray:
    """Return the level before, lowered where weeks before were lower."""
    columns = near.shape[1]
    known = np.arange(columns) - (columns - batch.count[:, None])
    weeks = median_of_3(near, shift(near, WINDOW), shift(near, 2 * WINDOW))
    lower = np.clip(weeks, near - np.float32(MOST_BUMP), near)
    level: SingleArray = np.where(known >= 2 * WINDOW, lower, near)
    return level


def _landed(batch: Batch, ahead: SingleArray, left: CountArray) -> SingleArray:
    columns = ahead.shape[1]
    place = np.arange(columns)
    whole = np.maximum(columns - 5, place)
    level = ahead
    seen = [ahead]
    for later in (np.minimum(place + 5, whole), np.minimum(place + 10, whole)):
        middle = np.minimum(later + 2, columns - 1)
        soon = batch.day[:, middle] - batch.day <= REACH_DAYS
        level = np.where(soon, ahead[:, later], level)
        seen.append(level)
    first, second, third = seen
    landed: SingleArray = np.where(
        left >= WINDOW, median_of_3(first, second, third), (first + second) / 2
    )
    return landed


def _holds(batch: Batch) -> tuple[SingleArray, SingleArray, Mask]:
    """Return time since the value before was first shown, and what was learnt last.

    The second is the median of the last three values that the gauge held, the third
    says where these reach back far enough.
    """
    health, day = batch.health, batch.day
    columns = health.shape[1]
    moved = np.zeros(health.shape, dtype=np.bool_)
    moved[:, 1:] = np.abs(np.diff(health, axis=1)) > HELD_STEP
    first = np.minimum(columns - batch.count, columns - 1)
    moved[np.arange(len(day)), first] = True
    since = _held_from(health, moved)
    last = since[:, np.maximum(np.arange(columns) - 1, 0)]
    second = np.take_along_axis(since, np.maximum(last - 1, 0), axis=1)
    third = np.take_along_axis(since, np.maximum(second - 1, 0), axis=1)
    learnt = median_of_3(
        *(np.take_along_axis(health, k, axis=1) for k in (last, second, third))
    )
    days = day - np.take_along_axis(day, last, axis=1)
    unseen = (last == first[:, None]) & (days >= LEAST_KNOWN_HOLD_DAYS)
    days = days + np.float32(UNSEEN_HOLD_DAYS) * unseen
    return (
        np.where(batch.real, days, np.float32(0)),
        learnt,
        np.arange(columns) - third >= LEARNT_AFTER,
    )


def _held_from(health: SingleArray, moved: Mask) -> CountArray:
    """Return where the value of each reading was first shown, if held since.

    A value that comes back after another, as after a false cliff, was held throughout.
    """
    place = np.where(moved, np.arange(health.shape[1]), 0)
    since: CountArray = np.maximum.accumulate(place, axis=1)
    for _ in range(2):
        other = np.take_along_axis(since, np.maximum(since - 1, 0), axis=1)
        before = np.maximum(other - 1, 0)
        same = np.take_along_axis(health, before, axis=1) - health
        back = (np.abs(same) <= HELD_STEP) & (since > 0) & (other > 0)
        since = np.where(back, np.take_along_axis(since, before, axis=1), since)
    return since


def _held(batch: Batch, days: SingleArray) -> SingleArray:
    """Keep holds that end in a fall, and gaps without a reading."""
    down = np.zeros_like(days)
    down[:, 1:] = -np.diff(batch.health, axis=1)
    gap = np.zeros_like(days)
    gap[:, 1:] = np.diff(batch.day, axis=1)
    held = np.maximum(np.where(down >= LEAST_MOVE, days, 0), gap)
    kept: SingleArray = np.where(held >= LEAST_HELD_DAYS, held, np.float32(0))
    return kept


def rate_before(batch: Batch, around: Around, reaches: tuple[int, ...]) -> SingleArray:
    """Return the fastest fade over so many readings before each [1/d]."""
    fastest = np.zeros(batch.day.shape, dtype=np.float32)
    for places in reaches:
        run = batch.day - shift(batch.day, places)
        loss = shift(around.before, places) - around.before
        fastest = np.maximum(fastest, loss / np.maximum(run, places / 2))
    return fastest


def rate_after(batch: Batch, around: Around) -> SingleArray:
    """Return the fade over the readings after landing [1/d], with some reserve."""
    columns = batch.day.shape[1]
    place = np.arange(columns)
    later = np.clip(place + 12, place, np.maximum(columns - 5, place))
    run = batch.day[:, later] - batch.day
    loss = around.ahead - around.ahead[:, later]
    rate: SingleArray = np.where(
        run >= LEAST_RUN_DAYS, RESERVE * loss / np.maximum(run, LEAST_RUN_DAYS), 0
    )
    return rate
