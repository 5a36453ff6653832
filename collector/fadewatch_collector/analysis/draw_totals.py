"""Totals over many forecasts: how many packs of a group are due by a day.

Every forecast is three dates; a total over many packs is none of their sums: the upper
end of a sum is not the sum of upper ends. So days are drawn for all packs together, and
the totals of the draws are looked at.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, SingleArray
from fadewatch_collector.analysis.crossing_draws import (
    SHARING,
    Forecasts,
    Sharing,
    drawn_days,
    settled,
)

DRAWS = 1000
"""Draws of a small fleet [count]. Own choice: a 10 % point is then known to within
5.4 % of the spread of the total (sqrt(0.1 * 0.9 / 1000) / 0.1755)."""
LEAST_DRAWS = 200
"""Draws of the largest fleet [count]; own choice. Many packs leave the shared error, and
its draws are spread evenly, so fewer do."""
WORK = 8_000_000
"""Days drawn in all, about [count]; own choice, a third of a second on one core."""


@dataclass(frozen=True, slots=True, eq=False)
class Totals:
    """Totals of each group and day: the middle, and an 80 % range about it.

    Each is an array of one row a group and one column a day. ``central`` is the median:
    a whole number of packs that lies within its range, as a mean need not.
    """

    central: FloatArray
    low: FloatArray
    high: FloatArray


def draws_for(packs: int) -> int:
    """Return how many draws suit a number of packs."""
    return int(np.clip(WORK // max(packs, 1), LEAST_DRAWS, DRAWS))


def totals(drawn: CountArray | FloatArray) -> Totals:
    """Return the middle and range of what was drawn.

    Parameters
    ----------
    drawn
        One entry a draw along the first axis.
    """
    low, central, high = np.quantile(
        drawn, (0.1, 0.5, 0.9), axis=0, method="inverted_cdf"
    )
    return Totals(central, low, high)


def counts_by(
    forecasts: Forecasts,
    pack_types: CountArray,
    groups: CountArray,
    days: Sequence[int],
    *,
    seed: int,
    draws: int | None = None,
    sharing: Sharing = SHARING,
) -> CountArray:
    """Count, in every draw, the packs of each group that cross by the end of each day.

    Parameters
    ----------
    pack_types
        Type of each pack, counted from 0.
    groups
        Group of each pack, counted from 0; groups need have nothing to do with types.
    days
        Rising days since 1970-01-01 [d].
    draws
        How many; None is as many as :func:`draws_for` finds fit.

    Returns
    -------
    CountArray
        By draw, group and day; the counts of later days hold those of earlier ones.
    """
    standing = settled(forecasts, days[0], days[-1])
    is_open = standing == 0
    count, width = int(groups.max(initial=-1)) + 1, len(days) + 1
    due = np.bincount(groups[standing < 0], minlength=count)
    bins = days_to_bins(days)
    base = groups[is_open] * width
    some = forecasts.only(is_open)
    found = [
        np.bincount(base + bins(one), minlength=count * width).reshape(count, width)
        for one in drawn_days(
            some,
            pack_types[is_open],
            seed=seed,
            draws=draws or draws_for(len(some)),
            sharing=sharing,
        )
    ]
    return np.cumsum(np.stack(found), axis=2)[:, :, :-1] + due[:, None]


def days_to_bins(days: Sequence[int]) -> Callable[[SingleArray], CountArray]:
    """Return what tells, of drawn days, in which of the spans up to ``days`` they lie.

    The last span, numbered ``len(days)``, is whatever comes after the last day.
    """
    first, last = days[0], days[-1]
    table = np.searchsorted(np.asarray(days), np.arange(first, last + 2))
    # A table: looking each day up among the ends takes ten times as long.
    return lambda drawn: table.take(
        (np.clip(drawn, first, last + 1) - first).astype(np.int32)
    )
