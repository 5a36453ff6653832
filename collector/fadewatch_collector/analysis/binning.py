"""Histories of any length and pace as a fixed number of mean values."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import FloatArray, Mask, SingleArray


@dataclass(frozen=True, slots=True, eq=False)
class Bins:
    """Means of the readings in equal spans of time, one row a pack.

    Parameters
    ----------
    time
        Mean day of the readings in the bin [d]; NaN where the bin is empty.
    value
        Mean of the values in the bin; NaN where the bin is empty.
    count
        Readings in the bin.
    """

    time: FloatArray
    value: FloatArray
    count: FloatArray


def bin_means(
    day: SingleArray,
    values: SingleArray,
    use: Mask,
    start: FloatArray,
    stop: FloatArray,
    bins: int,
) -> Bins:
    """Average ``values`` over ``bins`` equal spans from ``start`` to ``stop``.

    Readings outside the span, or where ``use`` is false, are left out. ``day`` counts
    from any origin; `Bins.time` counts from ``start``.
    """
    packs = day.shape[0]
    since = day - start[:, None].astype(np.float32)
    width = (np.maximum(stop - start, 1.0) / bins).astype(np.float32)
    place = np.floor(since / width[:, None])
    last = np.float32(bins)
    place[place == last] = bins - 1
    chosen = use & (place >= 0) & (place < last) & (since >= 0)
    row, column = np.nonzero(chosen)
    slot = row * bins + place[chosen].astype(np.int64)
    shape = (packs, bins)
    count = np.bincount(slot, minlength=packs * bins).astype(np.float64)
    with np.errstate(invalid="ignore"):
        time = np.bincount(slot, since[row, column], packs * bins) / count
        value = np.bincount(slot, values[row, column], packs * bins) / count
    return Bins(time.reshape(shape), value.reshape(shape), count.reshape(shape))
