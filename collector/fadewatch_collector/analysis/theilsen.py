"""Theil-Sen slopes of many series at once.

References
----------
P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal of
the American Statistical Association 63 (1968) 1379-1389,
doi 10.1080/01621459.1968.10480934.
"""

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray
from fadewatch_collector.analysis.figures import Spread

NORMAL_QUANTILE_90 = 1.2815515655446004
"""Standard normal quantile of 0.9: an 80 % interval lies this far to either side."""


def theil_sen(
    time: FloatArray, value: FloatArray, quantile: float = NORMAL_QUANTILE_90
) -> Spread:
    """Return the median slope of each row over all pairs, with its interval.

    Parameters
    ----------
    time, value
        One series a row; a point counts where both are known (not NaN).
    quantile
        Standard normal quantile of the interval's upper end.

    Returns
    -------
    Spread
        Value per unit of time; NaN with fewer than two different times.

    Notes
    -----
    Of the ``p`` sorted slopes between points at different times the interval runs from
    number ``(p - q s) / 2`` to number ``(p + q s) / 2``, with ``s`` squared
    ``n (n - 1) (2 n + 5) / 18`` less the same sum over groups of equal values.
    """
    slopes = _pair_slopes(time, value)
    pairs = np.sum(~np.isnan(slopes), axis=1)
    slopes.sort(axis=1)
    reach = quantile * np.sqrt(_variance(time, value))
    last = np.maximum(pairs - 1, 0)
    low = np.clip(np.rint((pairs - reach) / 2).astype(np.int64) - 1, 0, last)
    high = np.clip(np.rint((pairs + reach) / 2).astype(np.int64), 0, last)
    middle = (_pick(slopes, last // 2) + _pick(slopes, (last + 1) // 2)) / 2
    return Spread(middle, _pick(slopes, low), _pick(slopes, high))


def _pair_slopes(time: FloatArray, value: FloatArray) -> FloatArray:
    known = ~(np.isnan(time) | np.isnan(value))
    early, late = np.triu_indices(time.shape[1], k=1)
    times = np.where(known, time, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        run = times[:, late] - times[:, early]
        slopes = (value[:, late] - value[:, early]) / run
    slopes[run == 0] = np.nan
    return np.asarray(slopes, dtype=np.float64)


def _variance(time: FloatArray, value: FloatArray) -> FloatArray:
    """Return the variance of Kendall's score, allowing for equal values."""
    ranked = np.sort(np.where(np.isnan(time), np.nan, value), axis=1)
    points = np.sum(~np.isnan(ranked), axis=1)
    total = points * (points - 1) * (2 * points + 5.0)
    run = np.ones(points.shape)
    for column in range(1, ranked.shape[1]):
        run = np.where(ranked[:, column] == ranked[:, column - 1], run + 1, 1.0)
        grown = run * (run - 1) * (2 * run + 5)
        before = (run - 1) * (run - 2) * (2 * run + 3)
        total -= np.where(run > 1, grown - before, 0.0)
    return np.asarray(np.maximum(total, 0.0) / 18.0)


def _pick(ranked: FloatArray, place: CountArray) -> FloatArray:
    if ranked.shape[1] == 0:
        return np.full(ranked.shape[0], np.nan)
    return np.take_along_axis(ranked, place[:, None], axis=1)[:, 0]
