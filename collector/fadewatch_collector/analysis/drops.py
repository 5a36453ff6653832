"""Sudden lasting losses of capacity, told apart from dips, gauges and plain fade."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import (
    CountArray,
    FloatArray,
    Mask,
    SingleArray,
)
from fadewatch_collector.analysis.cleaning import HELD_STEP, Batch
from fadewatch_collector.analysis.figures import DAYS_PER_MONTH, Drops
from fadewatch_collector.analysis.medians import (
    ahead_median_of_5,
    median_of_3,
    shift,
)

LEAST_DROP = 0.075
"""Least fall that counts [fraction of design]: 8 % less what noise may hide."""
LARGE_DROP = 0.115
"""A fall that false cliffs do not reach, so few readings bear it out."""
RECOVERY = 0.45
"""A level that regains this share of the fall withdraws it."""
BACK = 0.5
"""Newest readings that regain this share leave a fresh fall in doubt."""
LEAST_SHARPNESS = 0.01
"""Least local fall at which a drop is dated [fraction of design]."""
MOST_EVENT_DAYS = 10
"""A run of limited steps within so many days is one cliff [d]."""
UNSEEN_HOLD_DAYS = 90
"""How long a value held since the first reading may have been held before it [d]."""
HELD_FADE = 0.016 / DAYS_PER_MONTH
"""Fade that a gauge may have hidden while it held its value, or no reading came [1/d].

Half more than a common 1 % a month.
"""
WORN_HELD_FADE = 0.055 / DAYS_PER_MONTH
"""The same for a pack at `WORN` or beyond, which may have passed a knee [1/d]."""
FRESH, WORN = 0.10, 0.30
"""Wear between which the one passes into the other; own choice."""
MOST_HIDDEN = 0.22
"""Most fall that a held gauge explains [fraction of design]; own choice."""
LEAST_HELD_DAYS = 10
"""Shorter holds hide nothing worth speaking of [d]."""
MOST_PLAIN_DAYS = 30
"""So many days of the usual fade are taken off the size of a fall [d]."""
DEVIATIONS = 3.5
"""Least fall in standard deviations of a reading; own choice."""
NOISE_PART = 0.35
"""How much of the noise is added to the least fall: dips reach 7 %; own choice."""
RESERVE = 1.3
"""Fade may have been so many times the fastest seen before; own choice."""
RAMP_DROP = 0.095
"""Least fall that counts if it takes several readings [fraction of design]."""
LEAST_STEP = 0.014
"""Least step of a cliff, one gauge update [fraction of design]: 256 mAh of 18 Ah."""
STEP_DEVIATIONS = 2.2
STEP_SHARE = 1.25
"""A fall is a cliff as far as single steps make it up, times so much; own choice."""
LANDINGS = (0, 2, 4, 7)
"""How many readings a cliff may take [count]."""
WINDOW = 15
"""Readings that make up the level before a drop, and after it once they are there."""
HALF_WINDOW = 5
"""Readings before that are enough for a fall of `RAMP_DROP`."""
LEARNT_AFTER = 9
"""From so many readings for three learnt values on, those make the level before."""
LEAST_KNOWN_HOLD_DAYS = 7
"""A first value that moves sooner was not held [d]."""
LEAST_RUN_DAYS = 8
"""Least time over which fade after a drop can be told [d]."""
EXCESS_PART, ENOUGH_EXCESS = 0.5, 0.10
"""Part of a fall that fade must leave unexplained, and what is enough of any fall."""
SEEN_LARGE, SEEN_SMALL = 3, 4
"""Readings that show a large and a small fall: fewer count as a spike."""
BORNE_LARGE, BORNE_SMALL = (3, 2), (6, 6)
"""Readings, and days between them, that confirm a large and a small fall."""
CLUSTER = 20
"""Falls within so many readings are one event."""


@dataclass(frozen=True, slots=True, eq=False)
class _Levels:
    """Levels before and after each reading, as if it were the first of a drop."""

    before: SingleArray
    ahead: SingleArray
    landed: SingleArray
    left: CountArray


@dataclass(frozen=True, slots=True, eq=False)
class _Holds:
    """How long the gauge had held its value when each reading came.

    ``days`` is the time since the value before was first shown, ``learnt`` the
    median of the last three values the gauge held.
    """

    days: SingleArray
    learnt: SingleArray
    long: Mask


def find_drops(batch: Batch) -> Drops:
    """Find the newest sudden drop of each pack that still stands.

    Notes
    -----
    The fall at a reading is the median level of the 15 readings before it less the
    level of up to 15 readings after it, which may land up to `MOST_EVENT_DAYS` later
    if the gauge limits its steps. What plain fade explains is subtracted: the rate
    before, and `HELD_FADE` for as long as the gauge held its value or was silent. A
    large fall counts as confirmed after three readings, a small one after six over
    six days; a level that comes back withdraws it.
    """
    levels = _levels(batch.health)
    holds = _holds(batch)
    fall, excess = _fall(batch, levels, holds)
    stands = _stands(batch, levels, fall, excess)
    return _newest(batch, levels, fall, stands)


def _levels(health: SingleArray) -> _Levels:
    ahead = ahead_median_of_5(health)
    near, mid, far = shift(ahead, 5), shift(ahead, 10), shift(ahead, 15)
    columns = health.shape[1]
    place = np.arange(columns)
    newest_whole = columns - 5
    second = ahead[:, np.minimum(place + 5, np.maximum(newest_whole, place))]
    third = ahead[:, np.minimum(place + 10, np.maximum(newest_whole, place))]
    left = columns - place
    landed = np.where(
        left >= WINDOW, median_of_3(ahead, second, third), (ahead + second) / 2
    )
    return _Levels(median_of_3(near, mid, far), ahead, landed, left)


def _holds(batch: Batch) -> _Holds:
    health, day = batch.health, batch.day
    columns = health.shape[1]
    moved = np.zeros(health.shape, dtype=np.bool_)
    moved[:, 1:] = np.abs(np.diff(health, axis=1)) > HELD_STEP
    first = np.minimum(columns - batch.count, columns - 1)
    moved[np.arange(len(day)), first] = True
    place = np.where(moved, np.arange(columns), 0)
    since: CountArray = np.maximum.accumulate(place, axis=1)
    last = since[:, np.maximum(np.arange(columns) - 1, 0)]
    second = np.take_along_axis(since, np.maximum(last - 1, 0), axis=1)
    third = np.take_along_axis(since, np.maximum(second - 1, 0), axis=1)
    learnt = median_of_3(
        *(np.take_along_axis(health, k, axis=1) for k in (last, second, third))
    )
    days = day - np.take_along_axis(day, last, axis=1)
    unseen = (last == first[:, None]) & (days >= LEAST_KNOWN_HOLD_DAYS)
    days = days + np.float32(UNSEEN_HOLD_DAYS) * unseen
    long = np.arange(columns) - third >= LEARNT_AFTER
    return _Holds(np.where(batch.real, days, 0), learnt, long)


def _fall(
    batch: Batch, levels: _Levels, holds: _Holds
) -> tuple[SingleArray, SingleArray]:
    """Return the largest fall to a landing soon after, and what fade leaves of it."""
    before = np.where(
        holds.long, np.minimum(levels.before, holds.learnt), levels.before
    )
    rate = RESERVE * _rate_before(batch, levels, (20, 40, 80))
    usual = _rate_before(batch, levels, (40,))
    hidden = _hidden(before, rate, holds)
    after = _rate_after(batch, levels)
    stepped = _stepped(batch)
    fall = np.full(before.shape, -np.inf, dtype=np.float32)
    excess = fall.copy()
    for places in LANDINGS:
        landed = shift(levels.landed, -places)
        soon = (shift(batch.day, -places) - batch.day) <= MOST_EVENT_DAYS
        soon &= levels.left > places + (2 if places else 0)
        span = shift(batch.day, -places - 5) - shift(batch.day, 8)
        size = before - landed - usual * np.minimum(span, MOST_PLAIN_DAYS)
        steps = shift(stepped, -places - 1) - shift(stepped, 2)
        pace = np.maximum(rate, shift(after, -places))
        left = np.minimum(size, STEP_SHARE * steps) - np.maximum(pace * span, hidden)
        if places:
            soon &= size >= RAMP_DROP
        left = np.where(soon, left, -np.inf)
        better = left > excess
        fall, excess = np.where(better, size, fall), np.where(better, left, excess)
    return fall, excess


def _hidden(before: SingleArray, rate: SingleArray, holds: _Holds) -> SingleArray:
    """Return the fade that a gauge may have hidden while it held or was silent."""
    held = _widest(np.where(holds.days >= LEAST_HELD_DAYS, holds.days, 0))
    worn = np.clip((1 - before - FRESH) / (WORN - FRESH), 0, 1)
    pace = np.maximum(HELD_FADE + worn * (WORN_HELD_FADE - HELD_FADE), rate)
    hidden: SingleArray = np.minimum(pace * held, MOST_HIDDEN)
    return hidden


def _rate_before(
    batch: Batch, levels: _Levels, reaches: tuple[int, ...]
) -> SingleArray:
    """Return the fastest fade over so many readings before [1/d]."""
    fastest = np.zeros(batch.day.shape, dtype=np.float32)
    for places in reaches:
        run = batch.day - shift(batch.day, places)
        loss = shift(levels.before, places) - levels.before
        fastest = np.maximum(fastest, loss / np.maximum(run, places / 2))
    return fastest


def _rate_after(batch: Batch, levels: _Levels) -> SingleArray:
    """Return the fade over the readings after landing [1/d], with some reserve."""
    columns = batch.day.shape[1]
    place = np.arange(columns)
    later = np.clip(place + 12, place, np.maximum(columns - 5, place))
    run = batch.day[:, later] - batch.day
    loss = levels.ahead - levels.ahead[:, later]
    rate: SingleArray = np.where(
        run >= LEAST_RUN_DAYS, RESERVE * loss / np.maximum(run, LEAST_RUN_DAYS), 0
    )
    return rate


def _stepped(batch: Batch) -> SingleArray:
    """Return the running sum of steps too large for noise, falls counted upwards."""
    fall = np.zeros(batch.health.shape, dtype=np.float32)
    fall[:, 1:] = -np.diff(batch.health, axis=1)
    least = np.maximum(LEAST_STEP, STEP_DEVIATIONS * batch.noise).astype(np.float32)
    return np.cumsum(np.where(np.abs(fall) >= least[:, None], fall, 0), axis=1)


def _widest(values: SingleArray) -> SingleArray:
    """Return the largest of each value and the nine before it."""
    for places in (1, 2, 4, 2):
        values = np.maximum(values, shift(values, places))
    return values


def _stands(
    batch: Batch, levels: _Levels, fall: SingleArray, excess: SingleArray
) -> Mask:
    """Say where a drop may have begun that has not come back since."""
    noise = batch.noise[:, None].astype(np.float32)
    enough = np.maximum(LEAST_DROP + NOISE_PART * noise, DEVIATIONS * noise)
    big = (fall >= enough) & (excess >= np.minimum(EXCESS_PART * fall, ENOUGH_EXCESS))
    known = np.arange(fall.shape[1]) - (fall.shape[1] - batch.count[:, None])
    enough_before = (known >= WINDOW) | ((known >= HALF_WINDOW) & (fall >= RAMP_DROP))
    whole = levels.left >= WINDOW
    level = np.where(whole, levels.landed, -np.inf)
    best = np.maximum.accumulate(level[:, ::-1], axis=1)[:, ::-1]
    regained = shift(best, -5) > levels.before - (1 - RECOVERY) * fall
    now = batch.health[:, -5:]
    back = np.median(now, axis=1)[:, None] > levels.before - BACK * fall
    back &= ~whole
    sharp = _sharpness(batch.health)
    peak = sharp >= np.maximum(_widest_near(sharp), LEAST_SHARPNESS)
    stands: Mask = big & enough_before & ~regained & ~back & peak
    return stands


def _widest_near(values: SingleArray) -> SingleArray:
    """Return the largest of each value and its four neighbours on either side."""
    for places in (1, 2, 1):
        values = np.maximum(values, shift(values, places))
        values = np.maximum(values, shift(values, -places))
    return values


def _newest(batch: Batch, levels: _Levels, fall: SingleArray, stands: Mask) -> Drops:
    columns = fall.shape[1]
    place = np.arange(columns)
    since = batch.day[:, -1:] - batch.day
    large = fall >= LARGE_DROP
    seen = stands & np.where(
        large, levels.left >= SEEN_LARGE, levels.left >= SEEN_SMALL
    )
    newest = np.where(seen, place, -1).max(axis=1)
    cluster = seen & (place >= newest[:, None] - CLUSTER)
    best = np.argmax(np.where(cluster, _sharpness(batch.health), -1), axis=1)
    row = np.arange(len(best))
    found = newest >= 0
    size = np.where(cluster, fall, 0).max(axis=1)
    left, days = levels.left[best], since[row, best]
    confirmed = np.where(
        size >= LARGE_DROP,
        (left >= BORNE_LARGE[0]) & (days >= BORNE_LARGE[1]),
        (left >= BORNE_SMALL[0]) & (days >= BORNE_SMALL[1]),
    )
    nan = np.nan
    return Drops(
        on=np.where(found, batch.day[row, best], nan).astype(np.float64),
        size=np.where(found, size, nan).astype(np.float64),
        confirmed=found & confirmed,
        wear_before=_wear(levels.before[row, best], found),
    )


def _wear(health: SingleArray, found: Mask) -> FloatArray:
    return np.where(found, 1.0 - health, np.nan).astype(np.float64)


def _sharpness(health: SingleArray) -> SingleArray:
    """Return how sharply health falls at each reading: where the drop is dated."""
    middle = median_of_3(shift(health, 1), health, shift(health, -1))
    step = shift(middle, 2) - shift(middle, -1)
    sharp: SingleArray = step + (shift(health, 1) - health) / np.float32(2)
    return sharp
