"""Figures of values that belong to groups, such as the days of packs."""

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray


def sums(values: CountArray, group: CountArray, groups: int) -> CountArray:
    """Return the sum of each group's values, which are whole numbers."""
    return np.bincount(group, weights=values, minlength=groups).astype(np.int64)


def medians(values: FloatArray, group: CountArray, groups: int) -> FloatArray:
    """Return the median of each group's values; NaN is left out, and without any.

    Parameters
    ----------
    group
        Number of each value's group, from 0 to ``groups - 1``.
    """
    known = ~np.isnan(values)
    value, of = values[known], group[known]
    value = value[np.lexsort((value, of))]
    count = np.bincount(of, minlength=groups)
    found = np.flatnonzero(count)
    start = (np.cumsum(count) - count)[found]
    low = value[start + (count[found] - 1) // 2]
    high = value[start + count[found] // 2]
    middle = np.full(groups, np.nan)
    middle[found] = (low + high) / 2
    return middle


def least(values: FloatArray, group: CountArray, groups: int) -> FloatArray:
    """Return the least of each group's values; NaN is left out, and without any."""
    lowest = np.full(groups, np.nan)
    np.fmin.at(lowest, group, values)
    return lowest
