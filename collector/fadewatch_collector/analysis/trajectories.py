"""How packs fade: a family of wear curves, and every stretch of life seen so far.

The family states what published work agrees on, and is fitted to no data set: fade that
slows down with the power of time, or runs straight, or speeds up gently, with or without
a knee at which the rate multiplies.

References
----------
P. M. Attia et al., "Review: 'knees' in lithium-ion battery aging trajectories", Journal
of the Electrochemical Society 169 (2022) 060517, arXiv 2201.02891 (shapes of knees).
S. Fermin-Cueto et al., Energy and AI 1 (2020) 100006 (where knees lie).
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, SingleArray

KNEE_SHAPES, STRAIGHT_SHAPES, RISING_SHAPES = 40, 8, 8
KNEE_SHARE, STRAIGHT_SHARE, RISING_SHARE = 0.75, 0.15, 0.1
"""Prior shares of the three kinds; knees are the rule once wear passes a third."""
POWER = (0.35, 1.1)
"""Power of time before a knee: 0.5 when a growing film limits itself, 1 by use.

The range goes below 0.5 as new cells lose some capacity at once."""
RISING_POWER = (1.1, 2.5)
KNEE_WEAR = (0.08, 0.24)
"""Loss since new at which knees begin.

Published knees lie between 73 and 98 % of design. Before an earlier one too little is
lost to be told from fade that runs straight at the later rate.
"""
KNEE_FACTOR = (3.0, 8.0)
"""What a knee multiplies the rate by; published 3 to 8."""
KNEE_WIDTH = (0.003, 0.03)
"""Loss over which a knee builds up [fraction of design]; own choice."""
UNIT_WEAR = 0.2
"""Every curve loses so much in one unit of its own time."""
END = 4.0
"""Curves are followed for so many units."""
STEPS = 1600
NOW = np.geomspace(0.04, 2.2, 26)
"""Ages at which a pack may stand now, in units of its curve's time."""
SEEN_FROM = (0.0, 0.4, 0.7, 0.9, 0.97)
"""Ages at which its history may begin, as parts of the age now."""
SEEN_FROM_SHARE = (0.6, 0.1, 0.1, 0.1, 0.1)
MIDDLE_AGE, AGE_SPREAD = 0.7, 0.7
"""Prior of the age now: log-normal about 0.7 units."""
BINS = 24
WEAR_STEP = 0.0025
WEAR_CELLS = 480


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Every stretch of a curve that a history may be.

    Parameters
    ----------
    loss
        Wear since new in the middle of each bin of the history, one stretch a row.
    loss_squared
        The same, squared.
    pieces
        Stretches of one curve; they come in the same order for every curve.
    shape
        Which curve the stretch is of.
    now, seen
        Age now, and time since the history began, in the curve's units.
    loss_now
        Wear since new, now.
    log_prior
        Natural logarithm of the prior weight.
    reached
        Age at which each curve reaches each multiple of `WEAR_STEP`.
    """

    loss: SingleArray
    loss_squared: SingleArray
    pieces: int
    shape: CountArray
    now: SingleArray
    seen: SingleArray
    loss_now: SingleArray
    log_prior: SingleArray
    reached: SingleArray


@cache
def stretches() -> Stretches:
    """Return all stretches of all curves; the same every time."""
    age = np.linspace(0.0, END, STEPS)
    curves = _curves(age)
    now = np.repeat(NOW, len(SEEN_FROM))
    start = now * np.tile(SEEN_FROM, NOW.size)
    middle = (np.arange(BINS) + 0.5) / BINS
    points = start[:, None] + (now - start)[:, None] * middle
    loss = np.stack([np.interp(points, age, curve) for curve in curves])
    loss_now = np.stack([np.interp(now, age, curve) for curve in curves])
    prior = -0.5 * (np.log(now / MIDDLE_AGE) / AGE_SPREAD) ** 2
    prior = prior + np.log(np.tile(SEEN_FROM_SHARE, NOW.size))
    kinds = len(curves)
    return Stretches(
        loss=loss.reshape(-1, BINS).astype(np.float32),
        loss_squared=np.square(loss).reshape(-1, BINS).astype(np.float32),
        pieces=now.size,
        shape=np.repeat(np.arange(kinds), now.size),
        now=np.tile(now, kinds).astype(np.float32),
        seen=np.tile(now - start, kinds).astype(np.float32),
        loss_now=loss_now.ravel().astype(np.float32),
        log_prior=(_shape_prior()[:, None] + prior).ravel().astype(np.float32),
        reached=_reached(age, curves),
    )


def _shape_prior() -> FloatArray:
    shares = (KNEE_SHARE, STRAIGHT_SHARE, RISING_SHARE)
    counts = (KNEE_SHAPES, STRAIGHT_SHAPES, RISING_SHAPES)
    return np.asarray(np.log(np.repeat(np.divide(shares, counts), counts)))


def _curves(age: FloatArray) -> FloatArray:
    """Return the wear of every curve at every age."""
    knees = _spread(KNEE_SHAPES, (POWER, KNEE_WEAR, KNEE_FACTOR, KNEE_WIDTH))
    straight = _spread(STRAIGHT_SHAPES, (POWER,))
    rising = _spread(RISING_SHAPES, (RISING_POWER,))
    power = np.concatenate((knees[0], straight[0], rising[0]))
    plain = np.zeros(STRAIGHT_SHAPES + RISING_SHAPES)
    wear = np.concatenate((knees[1], plain + 1.0))
    factor = np.concatenate((knees[2], plain + 1.0))
    width = np.concatenate((knees[3], plain + KNEE_WIDTH[1]))
    time = np.linspace(0.0, END + 1.0, 2 * STEPS)
    base = np.diff(UNIT_WEAR * time ** power[:, None], axis=1, prepend=0.0)
    raw = np.zeros(base.shape)
    lost = np.zeros(power.size)
    for step in range(1, time.size):
        bent = 1.0 / (1.0 + np.exp(np.clip((wear - lost) / width, -40, 40)))
        lost = lost + base[:, step] * (1.0 + (factor - 1.0) * bent)
        raw[:, step] = lost
    return np.stack([_to_units(time, curve, age) for curve in raw])


def _to_units(time: FloatArray, curve: FloatArray, age: FloatArray) -> FloatArray:
    """Scale a curve's time so that it loses `UNIT_WEAR` in one unit."""
    unit = np.interp(UNIT_WEAR, curve, time)
    return np.interp(age * unit, time, curve)


def _spread(count: int, ranges: tuple[tuple[float, float], ...]) -> FloatArray:
    """Return evenly spread points of a box, one parameter a row.

    An additive recurrence with powers of the root of ``x**(d + 1) = x + 1`` leaves no
    holes and needs no random numbers (M. Roberts, "The unreasonable effectiveness of
    quasirandom sequences", 2018; from memory).
    """
    root = 2.0
    for _ in range(40):
        root = (1.0 + root) ** (1.0 / (len(ranges) + 1))
    number = np.arange(1, count + 1)
    return np.stack(
        [
            low + (high - low) * ((0.5 + number / root ** (axis + 1)) % 1.0)
            for axis, (low, high) in enumerate(ranges)
        ]
    )


def _reached(age: FloatArray, curves: FloatArray) -> SingleArray:
    wear = np.arange(WEAR_CELLS) * WEAR_STEP
    rising = curves + np.arange(age.size) * 1e-9
    ages = [np.interp(wear, curve, age, right=1.5 * END) for curve in rising]
    return np.stack(ages).astype(np.float32)
