"""How many packs are expected to cross a threshold, span by span and all together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray
from fadewatch_collector.analysis.crossing_draws import Forecasts
from fadewatch_collector.analysis.draw_totals import counts_by


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """Counts with their 80 % range, one row a group and one column a span.

    Parameters
    ----------
    mean
        Mean of the draws: means of spans add up to that of the whole, as medians do not.
    low, high
        10 and 90 % points of the draws.
    """

    mean: FloatArray
    low: FloatArray
    high: FloatArray


def expected_crossings(
    forecasts: Forecasts,
    pack_types: CountArray,
    groups: CountArray,
    ends: Sequence[int],
    *,
    seed: int,
) -> tuple[Expected, Expected]:
    """Return the crossings expected in each span, and those up to each span's end.

    Parameters
    ----------
    groups
        Group of each pack, counted from 0.
    ends
        Last day of each span, rising [d since 1970-01-01]; the first span holds all that
        comes before its end.
    """
    by_end = counts_by(forecasts, pack_types, groups, ends, seed=seed)
    within = np.diff(by_end, axis=2, prepend=0)
    return _ranged(within), _ranged(by_end)


def _ranged(drawn: CountArray) -> Expected:
    low, high = np.quantile(drawn, (0.1, 0.9), axis=0, method="inverted_cdf")
    return Expected(drawn.mean(axis=0), low.astype(float), high.astype(float))
