"""Falls of capacity that could be sudden drops: where they are, and which still stand."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.around import (
    RESERVE,
    WINDOW,
    Around,
    rate_after,
    rate_before,
)
from fadewatch_collector.analysis.arrays import Mask, SingleArray
from fadewatch_collector.analysis.cleaning import Batch
from fadewatch_collector.analysis.medians import median_of_3, shift

LEAST_FALL = 0.066
"""Least fall worth weighing [fraction of design]: 8 % less what noise may hide."""
NOISE_PART = 0.2
"""How much of the noise is added to it; own choice."""
DEVIATIONS = 3.0
"""Least fall in standard deviations of a reading; own choice."""
RECOVERY = 0.45
"""A level that regains this share of the fall withdraws it."""
BACK = 0.5
"""Newest readings that regain this share leave a fresh fall in doubt."""
LEAST_SHARPNESS = 0.01
"""Least local fall at which a drop is dated [fraction of design]."""
MOST_EVENT_DAYS = 12
"""A run of limited steps within so many days is one cliff [d]."""
LANDINGS = (0, 2, 4, 7, 10)
"""How many readings a cliff may take [count]."""
MOST_PLAIN_DAYS = 30
"""So many days of the usual fade are taken off the size of a fall [d]."""
RAMP_FALL = 0.085
"""Least fall that counts if it takes several readings [fraction of design]."""
HALF_WINDOW, EARLY_FALL = 5, 0.095
"""Readings before that are enough for a fall of so much of design."""
EXCESS_PART, ENOUGH_EXCESS = 0.4, 0.10
"""Part of a fall that fade must leave unexplained, and what is enough of any fall."""
QUICK_PART, ENOUGH_QUICK = 0.7, 0.08
"""Part of a fall that six steps in a row make up, and what is enough of any fall.

A cell that collapses within weeks loses up to 1 % a cycle, but no faster; own choice.
"""
LEAST_SEEN = 3
"""Readings that show a fall: fewer count as a spike."""


@dataclass(frozen=True, slots=True, eq=False)
class Falls:
    """The fall at each reading, as if it were the first of a drop.

    Parameters
    ----------
    size
        Level before less the level landed on [fraction of design].
    held
        Longest time for which the gauge held its value, or was silent, in it [d].
    sharp
        How sharply health falls at the reading itself.
    stands
        Where a drop may have begun that has not come back since.
    """

    size: SingleArray
    held: SingleArray
    sharp: SingleArray
    stands: Mask


def find_falls(batch: Batch, around: Around, usual: SingleArray) -> Falls:
    """Find every fall too large and too sharp for noise and for fade.

    Parameters
    ----------
    usual
        Fade before each reading [1/d].
    """
    size, held, excess = _largest(batch, around, usual)
    sharp = _sharpness(batch.health)
    noise = batch.noise[:, None].astype(np.float32)
    enough = np.maximum(LEAST_FALL + NOISE_PART * noise, DEVIATIONS * noise)
    stands = size >= enough
    stands &= excess >= np.minimum(EXCESS_PART * size, ENOUGH_EXCESS)
    stands &= sharp >= np.maximum(_widest_near(sharp), LEAST_SHARPNESS)
    stands &= _quick(batch.health) >= np.minimum(QUICK_PART * size, ENOUGH_QUICK)
    stands &= _known_before(batch, size) & (around.left >= LEAST_SEEN)
    stands &= ~_come_back(batch, around, size)
    return Falls(size, held, sharp, stands)


def _largest(
    batch: Batch, around: Around, usual: SingleArray
) -> tuple[SingleArray, SingleArray, SingleArray]:
    """Return the fall to the landing that fade explains least, and what is left."""
    rate = RESERVE * rate_before(batch, around, (20, 40, 80))
    after = rate_after(batch, around)
    size = np.full(usual.shape, -np.inf, dtype=np.float32)
    excess, held = size.copy(), np.zeros_like(size)
    longest = _widest(around.held)
    for places in LANDINGS:
        span = shift(batch.day, -places - 5) - shift(batch.day, 8)
        fall = around.before - shift(around.landed, -places)
        fall = fall - usual * np.minimum(span, MOST_PLAIN_DAYS)
        left = fall - np.maximum(rate, shift(after, -places)) * span
        soon = (shift(batch.day, -places) - batch.day) <= MOST_EVENT_DAYS
        if places:
            soon &= (around.left > places + 2) & (fall >= RAMP_FALL)
        better = soon & (left > excess)
        hidden = np.maximum(longest, _widest_ahead(around.held, places + 3))
        size, held = np.where(better, fall, size), np.where(better, hidden, held)
        excess = np.where(better, left, excess)
    return size, held, excess


def _widest(values: SingleArray) -> SingleArray:
    """Return the largest of each value and the nine before it."""
    for places in (1, 2, 4, 2):
        values = np.maximum(values, shift(values, places))
    return values


def _widest_ahead(values: SingleArray, reach: int) -> SingleArray:
    """Return the largest of each value and the ``reach`` after it."""
    covered = 0
    while covered < reach:
        places = min(covered + 1, reach - covered)
        values = np.maximum(values, shift(values, -places))
        covered += places
    return values


def _widest_near(values: SingleArray) -> SingleArray:
    """Return the largest of each value and its four neighbours on either side."""
    for places in (1, 2, 1):
        values = np.maximum(values, shift(values, places))
        values = np.maximum(values, shift(values, -places))
    return values


def _known_before(batch: Batch, size: SingleArray) -> Mask:
    columns = size.shape[1]
    known = np.arange(columns) - (columns - batch.count[:, None])
    early = (known >= HALF_WINDOW) & (size >= EARLY_FALL)
    enough: Mask = (known >= WINDOW) | early
    return enough


def _come_back(batch: Batch, around: Around, size: SingleArray) -> Mask:
    """Say which falls were regained since, or are in doubt by the newest readings."""
    whole = around.left >= WINDOW
    level = np.where(whole, around.landed, -np.inf)
    best = np.maximum.accumulate(level[:, ::-1], axis=1)[:, ::-1]
    regained: Mask = shift(best, -5) > around.before - (1 - RECOVERY) * size
    for newest in (3, 5):
        now = np.median(batch.health[:, -newest:], axis=1)[:, None]
        regained |= ~whole & (now > around.before - BACK * size)
    return regained


def _quick(health: SingleArray) -> SingleArray:
    """Return the largest loss over six steps, near each reading."""
    middle = median_of_3(shift(health, 1), health, shift(health, -1))
    return _widest_near(shift(middle, 2) - shift(middle, -4))


def _sharpness(health: SingleArray) -> SingleArray:
    """Return how sharply health falls at each reading: where the drop is dated."""
    middle = median_of_3(shift(health, 1), health, shift(health, -1))
    step = shift(middle, 2) - shift(middle, -1)
    sharp: SingleArray = step + (shift(health, 1) - health) / np.float32(2)
    return sharp
