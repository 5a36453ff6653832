"""The pace of fade that a history shows, and what to believe of it.

References
----------
P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal of
the American Statistical Association 63 (1968) 1379-1389,
doi 10.1080/01621459.1968.10480934.
"""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import FloatArray, Mask
from fadewatch_collector.analysis.binning import Bins
from fadewatch_collector.analysis.knee import find_knees
from fadewatch_collector.analysis.theilsen import theil_sen

RECENCY = 4.0
"""The newest bin counts e to this power times the oldest; own choice."""
MISFIT = 0.002
"""Least standard deviation of a bin's mean [fraction of design]."""
MEMORY = 2.0
"""Noise of a gauge has memory: its variance counts so many times."""
REGAINED = 0.01
"""Capacity that came back by so much halves what newer bins count more [fraction].

A history that rises after rests and falls fast between them fades in the long run at
none of these paces; own choice.
"""
HELD = 5e-4
"""A bin so near the one before tells nothing new [fraction of design]."""
LEAST_BINS = 3
CLEAR_F = 100.0
"""Least F statistic of a knee before which bins no longer count; own choice."""
NORMAL_QUANTILE_995 = 2.5758293035489004
"""Standard normal quantile of 0.995: a 99 % interval lies this far to either side."""
TAIL = 3.0
"""Degrees of freedom of the prior: packs far from the usual exist."""
REACH = 4.5
"""Rates of e to this power times the usual, and its inverse, are thought of."""
POINTS = 49


@dataclass(frozen=True, slots=True, eq=False)
class Pace:
    """How fast each history fades of late.

    Parameters
    ----------
    rate
        Loss a unit of time.
    deviation
        Its standard deviation; infinite where too little is known.
    pull
        What each bin's wear adds to a least-squares rate over the same bins.
    """

    rate: FloatArray
    deviation: FloatArray
    pull: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """What to believe of each rate: its middle, and the spread of its logarithm."""

    rate: FloatArray
    spread: FloatArray


def recent_pace(
    seen: FloatArray, count: FloatArray, noise: FloatArray, span: FloatArray
) -> Pace:
    """Return the pace of each history, with the whole history as the unit of time.

    Parameters
    ----------
    seen
        Mean wear in equal spans of the history; NaN in empty ones.
    count
        Readings in each.
    noise
        Standard deviation of a reading [fraction of design].
    span
        Length of the history [d].

    Notes
    -----
    The rate is that of least squares, in which newer bins count more, the less so the
    more capacity came back in between; after a clear knee only bins later than it
    count. It is kept within the 99 % interval of the Theil-Sen slope over the newer
    half, which a few wild bins do not move. Its standard deviation allows for the
    scatter of the bins about the line, and for bins that only repeat a held value.
    """
    filled = ~np.isnan(seen) & (count > 0)
    wear = np.where(filled, seen, 0.0)
    bins = seen.shape[1]
    time = (np.arange(bins) + 0.5) / bins
    filled &= _after_knee(np.where(filled, seen, np.nan), count, noise, span)
    sampling = MEMORY * noise[:, None] ** 2 / np.maximum(count, 1.0)
    variance = MISFIT**2 + sampling
    recency = RECENCY / (1.0 + _regained(seen, sampling) / REGAINED)
    weight = np.where(filled, np.exp(recency[:, None] * (time - 1.0)) / variance, 0.0)
    total = np.maximum(weight.sum(axis=1), 1e-12)
    since = time - (weight @ time / total)[:, None]
    power = np.maximum(np.sum(weight * since**2, axis=1), 1e-12)
    pull = weight * since / power[:, None]
    rate = np.sum(pull * wear, axis=1)
    middle = np.sum(weight * wear, axis=1) / total
    scatter = wear - middle[:, None] - rate[:, None] * since
    residual = MEMORY * np.sum(weight * scatter**2, axis=1) / total
    worst = np.maximum(variance, residual[:, None])
    deviation = np.sqrt(np.sum(pull**2 * worst, axis=1) * _repeats(wear, filled))
    enough = filled.sum(axis=1) >= LEAST_BINS
    rate = _within_theil_sen(rate, np.where(filled, seen, np.nan))
    return Pace(rate, np.where(enough, deviation, np.inf), pull)


def _regained(seen: FloatArray, sampling: FloatArray) -> FloatArray:
    """Return by how much wear lay below the most seen before, beyond noise."""
    most = np.maximum.accumulate(np.where(np.isnan(seen), -np.inf, seen), axis=1)
    known = np.isfinite(seen) & np.isfinite(most)
    below = np.where(known, most, 0.0) - np.where(known, seen, 0.0)
    beyond = np.maximum(np.square(below) - sampling, 0.0)
    total = np.sum(np.where(known, beyond, 0.0), axis=1)
    return np.asarray(np.sqrt(total / np.maximum(known.sum(axis=1), 1)))


def _after_knee(
    seen: FloatArray, count: FloatArray, noise: FloatArray, span: FloatArray
) -> Mask:
    """Say which bins lie after a clear knee; all without one."""
    place = np.arange(seen.shape[1]) + 0.5
    days = np.where(np.isnan(seen), np.nan, place * span[:, None] / seen.shape[1])
    bins = Bins(days, 1.0 - seen, count)
    knee = find_knees(bins, np.zeros(len(seen)), noise, CLEAR_F).on
    after = np.nan_to_num(days) > np.nan_to_num(knee, nan=-1.0)[:, None]
    enough = np.sum(after & ~np.isnan(seen), axis=1) >= LEAST_BINS
    return np.asarray(after | ~enough[:, None])


def _within_theil_sen(rate: FloatArray, seen: FloatArray) -> FloatArray:
    newer = seen[:, seen.shape[1] // 2 :]
    place = np.arange(newer.shape[1]) / seen.shape[1]
    time = np.where(np.isnan(newer), np.nan, place)
    slope = theil_sen(time, newer, NORMAL_QUANTILE_995)
    low = np.nan_to_num(slope.low, nan=-np.inf)
    high = np.nan_to_num(slope.high, nan=np.inf)
    return np.clip(rate, low, high)


def _repeats(wear: FloatArray, filled: Mask) -> FloatArray:
    """Return how many filled bins there are for each that tells something new."""
    place = np.where(filled, np.arange(wear.shape[1]), 0)
    last = np.take_along_axis(wear, np.maximum.accumulate(place, axis=1), axis=1)
    moved = filled[:, 1:] & (np.abs(np.diff(last, axis=1)) > HELD)
    known = np.maximum(filled.sum(axis=1), 1)
    return np.asarray(known / np.minimum(moved.sum(axis=1) + 1, known))


def believed(
    rate: FloatArray, deviation: FloatArray, usual: FloatArray, spread: FloatArray
) -> Belief:
    """Weigh each pack's own rate against what is usual, by Bayes' rule.

    The prior of the logarithm of the rate is Student's t about the logarithm of the
    usual; the own rate is normal about the true one. Both are put on a grid, twice,
    the second time a finer one about what the first found.

    Parameters
    ----------
    rate, deviation
        The pack's own rate and its standard deviation.
    usual, spread
        Middle of the prior, above 0, and spread of its logarithm.
    """
    places = np.linspace(-1.0, 1.0, POINTS)
    own = (rate, deviation, np.log(usual), spread)
    coarse = np.log(usual)[:, None] + REACH * places
    middle, found = _moments(coarse, *own)
    width = np.maximum(REACH * found, 2.0 * REACH / (POINTS - 1))
    fine = middle[:, None] + width[:, None] * places
    middle, found = _moments(fine, *own)
    return Belief(np.exp(middle), found)


def _moments(
    grid: FloatArray,
    rate: FloatArray,
    deviation: FloatArray,
    usual: FloatArray,
    spread: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return mean and standard deviation over a grid of logarithms."""
    far = np.square((grid - usual[:, None]) / spread[:, None]) / TAIL
    miss = (np.exp(grid) - rate[:, None]) / deviation[:, None]
    likely = -0.5 * (TAIL + 1.0) * np.log1p(far) - 0.5 * miss**2
    weight = np.exp(likely - likely.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    mean = np.sum(weight * grid, axis=1)
    variance = np.sum(weight * (grid - mean[:, None]) ** 2, axis=1)
    return mean, np.sqrt(variance)
