"""How sure a share is that was counted in readings which hang together."""

import math
from collections.abc import Sequence

Z_80 = 1.2815515655446004
"""Two-sided 80 % point of the standard normal distribution, as other intervals here."""


def independent_count(sizes: Sequence[int]) -> float:
    """Return how many independent readings groups of readings are worth.

    Parameters
    ----------
    sizes
        Readings in each group, such as a day [count].

    Returns
    -------
    float
        Between 1 and the number of groups; 0 without readings.

    Notes
    -----
    The readings of one day are taken to say the same thing over again (a correlation
    of 1 within a group, the worst case), so the variance of the pooled share is that
    of ``(sum n)^2 / sum n^2`` independent ones: the number of groups when all are of
    one size. What hangs together from day to day is not allowed for.

    References
    ----------
    Kish, L. (1965), Survey Sampling, Wiley: the effective size of a weighted sample.
    """
    return independent_count_of(sum(sizes), sum(size * size for size in sizes))


def independent_count_of(total: int, squares: int) -> float:
    """Return the same from the sum of the sizes and the sum of their squares."""
    return total**2 / squares if squares else 0.0


def wilson_interval(share: float, count: float, z: float = Z_80) -> tuple[float, float]:
    """Return the score interval of a share.

    Parameters
    ----------
    share
        Share that was seen, between 0 and 1.
    count
        Independent readings that it was seen in, above 0; need not be whole.
    z
        Two-sided point of the standard normal distribution.

    Raises
    ------
    ValueError
        The share or the count is outside its range.

    References
    ----------
    Wilson, E. B. (1927), Probable inference, the law of succession, and statistical
    inference, J. Am. Stat. Assoc. 22, 209-212, doi 10.1080/01621459.1927.10502953.
    """
    if not 0.0 <= share <= 1.0 or not count > 0.0:
        raise ValueError(f"no share of {share} can be seen in {count} readings")
    square = z * z
    middle = share + square / (2 * count)
    half = z * math.sqrt(share * (1 - share) / count + square / (4 * count * count))
    scale = 1 + square / count
    return max(0.0, (middle - half) / scale), min(1.0, (middle + half) / scale)
