"""Where fade bends downwards: two straight lines against one.

References
----------
S. Fermin-Cueto et al., "Identification and machine learning prediction of knee-point
and knee-onset in capacity degradation curves of lithium-ion cells", Energy and AI 1
(2020) 100006, doi 10.1016/j.egyai.2020.100006 (two lines that meet, after Bacon and
Watts 1971).
"""

import numpy as np

from fadewatch_collector.analysis.arrays import FloatArray, Mask
from fadewatch_collector.analysis.binning import Bins
from fadewatch_collector.analysis.figures import DAYS_PER_MONTH, Knees

LEAST_RATIO = 2.0
"""Fade after a knee is at least so many times the fade before; own choice.

Knees multiply the rate by 3 to 8; an estimate of 2 leaves room for noise.
"""
LEAST_FADE_AFTER = 0.006 / DAYS_PER_MONTH
"""Least fade after a knee [1/d]; own choice."""
LEAST_EXTRA_LOSS = 0.015
"""Least loss beyond the first line [fraction of design]: above a gauge's noise."""
LEAST_F = 30.0
"""Least F statistic of the second line. Own choice.

Far above the 1 % point of 7.3, as noise has memory.
"""
LEAST_FILLED = 10
NOISE_MULTIPLE = 2.5


def find_knees(
    bins: Bins, start: FloatArray, noise: FloatArray, least_f: float = LEAST_F
) -> Knees:
    """Find the bend of each row that two lines explain far better than one.

    Parameters
    ----------
    bins
        Health over equal spans of time [fraction of design].
    start
        Day from which ``bins.time`` counts [d since 1970-01-01].
    noise
        Standard deviation of a reading [fraction of design].
    least_f
        Least F statistic of the second line.
    """
    health, filled = _without_gaps(bins.value)
    size = health.shape[1]
    place = np.arange(size, dtype=np.float64)
    breaks = np.arange(size // 6, size - size // 10)
    hinges = np.maximum(place[None, :] - breaks[:, None], 0.0)
    line = np.stack([np.ones(size), place])
    line_inverse = np.linalg.pinv(line)
    hinge_on_line = hinges @ line_inverse
    bare = hinges - hinge_on_line @ line
    power = np.sum(bare * bare, axis=1)
    on_line = health @ line_inverse
    rest = health - on_line @ line
    change = (rest @ bare.T) / power
    gain = change**2 * power
    best = np.argmax(np.where(change < 0, gain, -1.0), axis=1)
    row = np.arange(len(best))
    change, gain = change[row, best], gain[row, best]
    slope = on_line[:, 1] - change * hinge_on_line[best, 1]
    bend = _Bend(breaks[best], slope, change, gain, rest, filled)
    return _judged(bins, start, noise, bend, least_f)


class _Bend:
    """The best bend of each row, in bins."""

    def __init__(
        self,
        place: FloatArray,
        slope: FloatArray,
        change: FloatArray,
        gain: FloatArray,
        rest: FloatArray,
        filled: FloatArray,
    ) -> None:
        size = rest.shape[1]
        self.place = place
        self.before = -slope
        self.after = -(slope + change)
        self.extra = -change * (size - 1 - place)
        self.filled = filled
        left = np.sum(rest * rest, axis=1) - gain
        free = np.maximum(filled - 4, 1)
        self.ratio = gain / np.maximum(left / free, 1e-12)


def _judged(
    bins: Bins, start: FloatArray, noise: FloatArray, bend: _Bend, least_f: float
) -> Knees:
    width = _bin_days(bins)
    before, after = bend.before / width, bend.after / width
    least = np.maximum(LEAST_EXTRA_LOSS, NOISE_MULTIPLE * noise)
    found: Mask = (
        (bend.filled >= LEAST_FILLED)
        & (bend.ratio >= least_f)
        & (bend.extra >= least)
        & (after >= LEAST_FADE_AFTER)
        & (after >= LEAST_RATIO * np.maximum(before, 0.0))
    )
    nan = np.nan
    on = np.floor(start + (bend.place + 0.5) * width)
    return Knees(
        np.where(found, on, nan),
        np.where(found, before, nan),
        np.where(found, after, nan),
    )


def _bin_days(bins: Bins) -> FloatArray:
    """Return the width of a bin [d], from the mean days of the outermost bins."""
    known = ~np.isnan(bins.time)
    first = np.argmax(known, axis=1)
    last = known.shape[1] - 1 - np.argmax(known[:, ::-1], axis=1)
    row = np.arange(len(first))
    with np.errstate(invalid="ignore", divide="ignore"):
        width = (bins.time[row, last] - bins.time[row, first]) / (last - first)
    return np.where(np.isfinite(width) & (width > 0), width, 1.0)


def _without_gaps(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Fill empty bins on a straight line between neighbours; count the others."""
    known = ~np.isnan(values)
    size = values.shape[1]
    place = np.arange(size)
    left = np.maximum.accumulate(np.where(known, place, -1), axis=1)
    right = np.minimum.accumulate(np.where(known, place, size)[:, ::-1], axis=1)
    right = right[:, ::-1]
    left, right = (
        np.where(left < 0, right, left),
        np.where(right >= size, left, right),
    )
    left, right = np.clip(left, 0, size - 1), np.clip(right, 0, size - 1)
    low = np.take_along_axis(values, left, axis=1)
    high = np.take_along_axis(values, right, axis=1)
    share = (place - left) / np.maximum(right - left, 1)
    filled = np.nan_to_num(low + (high - low) * share)
    return filled, known.sum(axis=1).astype(np.float64)
