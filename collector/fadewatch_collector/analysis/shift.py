"""Whether one group's values lie above another's, like compared with like.

References
----------
H. B. Mann and D. R. Whitney, "On a test of whether one of two random variables is
stochastically larger than the other", Annals of Mathematical Statistics 18 (1947) 50-60.

P. van Elteren, "On the combination of independent two-sample tests of Wilcoxon",
Bulletin of the International Statistical Institute 37 (1960) 351-361.

J. L. Hodges and E. L. Lehmann, "Estimates of location based on rank tests", Annals of
Mathematical Statistics 34 (1963) 598-611.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc, sqrt

import numpy as np

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.survival import NORMAL_QUANTILE_975

HALVINGS = 44
"""Halvings by which a shift is found, to 1e-13 of the range of values [count]."""

Pair = tuple[FloatArray, FloatArray]
"""Values of the first group and of the second, of one stratum."""


@dataclass(frozen=True, slots=True)
class RankTest:
    """How the first group's ranks differ from what chance would give.

    Parameters
    ----------
    score
        Difference over its standard deviation, continuity not corrected; above 0 where
        the first group's values are larger; 0 where nothing can be told.
    p_value
        Chance of so large a difference, to either side, if both were alike.
    """

    score: float
    p_value: float


@dataclass(frozen=True, slots=True)
class Shift:
    """By how much the first group's values lie above, with 95 % limits."""

    estimate: float
    low: float
    high: float


def rank_test(strata: Sequence[Pair]) -> RankTest:
    """Compare two groups, each value only with those of its own stratum.

    Notes
    -----
    Van Elteren's test: the rank sums of the strata, each over (values + 1), summed. With
    one stratum it is the test of Mann and Whitney (normal approximation, ties allowed
    for, no correction for continuity).
    """
    difference = variance = 0.0
    for first, second in strata:
        total = first.size + second.size
        if not first.size or not second.size:
            continue
        ranks, ties = _ranks(np.concatenate((first, second)))
        weight = 1.0 / (total + 1.0)
        expected = first.size * (total + 1.0) / 2.0
        difference += weight * (float(ranks[: first.size].sum()) - expected)
        variance += weight**2 * _variance(first.size, second.size, ties)
    score = difference / sqrt(variance) if variance > 0 else 0.0
    return RankTest(score, erfc(abs(score) / sqrt(2.0)))


def shift(strata: Sequence[Pair]) -> Shift:
    """Return the shift that makes two groups alike, and the shifts that chance allows.

    Notes
    -----
    Hodges and Lehmann: the shift after which the test sees no difference; its limits are
    those at which the difference is just at the 5 % level. With one stratum the estimate
    is the median of all differences between a value of the first group and one of the
    second.

    Raises
    ------
    ValueError
        No stratum has values of both groups.
    """
    both = [pair for pair in strata if pair[0].size and pair[1].size]
    if not both:
        raise ValueError("no stratum has values of both groups")
    estimate = (_shift_at(both, 0.0, low=True) + _shift_at(both, 0.0, low=False)) / 2.0
    return Shift(
        estimate,
        _shift_at(both, NORMAL_QUANTILE_975, low=True),
        _shift_at(both, -NORMAL_QUANTILE_975, low=False),
    )


def _shift_at(strata: Sequence[Pair], score: float, *, low: bool) -> float:
    """Find where the score, which falls as the first group is moved down, passes.

    ``low``: the largest shift with a score above, else the least with one below; they
    differ where the score stands at the value for a stretch.
    """
    lowest = min(float(a.min() - b.max()) for a, b in strata)
    highest = max(float(a.max() - b.min()) for a, b in strata)
    for _ in range(HALVINGS):
        middle = (lowest + highest) / 2.0
        found = rank_test([(a - middle, b) for a, b in strata]).score
        if found > score or (not low and found == score):
            lowest = middle
        else:
            highest = middle
    return (lowest + highest) / 2.0


def _ranks(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return ranks from 1, equal values sharing theirs, and how many are equal."""
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    middle = last - (count - 1) / 2.0
    return middle[place], count.astype(np.float64)


def _variance(first: int, second: int, ties: FloatArray) -> float:
    total = first + second
    tied = float(np.sum(ties**3 - ties))
    return first * second / 12.0 * (total + 1.0 - tied / (total * (total - 1.0)))
