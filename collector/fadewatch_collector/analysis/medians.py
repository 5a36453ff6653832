"""Running medians of many series at once, by exchange networks.

A network of minima and maxima costs a few passes over the whole batch, an order of
magnitude less than sorting every window.
"""

import numpy as np

from fadewatch_collector.analysis.arrays import SingleArray


def median_of_3(a: SingleArray, b: SingleArray, c: SingleArray) -> SingleArray:
    """Return the elementwise median of three arrays."""
    middle: SingleArray = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return middle


def median_of_5(
    a: SingleArray, b: SingleArray, c: SingleArray, d: SingleArray, e: SingleArray
) -> SingleArray:
    """Return the elementwise median of five arrays.

    The least and the greatest of four cannot be the median of five, so it is the
    median of the other two and the fifth.
    """
    low = np.maximum(np.minimum(a, b), np.minimum(c, d))
    high = np.minimum(np.maximum(a, b), np.maximum(c, d))
    return median_of_3(low, high, e)


def running_median_of_5(values: SingleArray) -> SingleArray:
    """Return the median of each value and its two neighbours on either side.

    Near an end the window is the five values at that end. Works along the last axis,
    which must hold five values or more.
    """
    inner = median_of_5(*(values[..., i : values.shape[-1] - 4 + i] for i in range(5)))
    return np.concatenate(
        (inner[..., :1], inner[..., :1], inner, inner[..., -1:], inner[..., -1:]),
        axis=-1,
    )


def ahead_median_of_5(values: SingleArray) -> SingleArray:
    """Return the median of each value and the four after it.

    Past the end the window is filled with as many infinities of either sign as it
    takes, so the last entries are medians of what there is, the upper one if even.
    """
    shape = (*values.shape[:-1], 4)
    fill = np.empty(shape, dtype=values.dtype)
    fill[..., 0::2], fill[..., 1::2] = np.inf, -np.inf
    longer = np.concatenate((values, fill), axis=-1)
    size = values.shape[-1]
    return median_of_5(*(longer[..., i : size + i] for i in range(5)))


def shift(values: SingleArray, places: int) -> SingleArray:
    """Return the values ``places`` earlier (later if negative), the end repeated."""
    size = values.shape[-1]
    moved = np.empty_like(values)
    step = min(abs(places), size)
    if places >= 0:
        moved[..., step:] = values[..., : size - step]
        moved[..., :step] = values[..., :1]
    else:
        moved[..., : size - step] = values[..., step:]
        moved[..., size - step :] = values[..., -1:]
    return moved
