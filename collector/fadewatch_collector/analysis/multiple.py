"""Many comparisons at once: how sure each is when all are looked at.

References
----------
S. Holm, "A simple sequentially rejective multiple test procedure", Scandinavian Journal
of Statistics 6 (1979) 65-70.
"""

from collections.abc import Sequence

import numpy as np


def holm(p_values: Sequence[float]) -> list[float]:
    """Return p-values adjusted so that the chance of any false alarm is held.

    Notes
    -----
    Sorted from the least, number i of m (from 0) becomes the largest of
    (m - i) p so far, 1 at most.
    """
    p = np.asarray(p_values, dtype=np.float64)
    order = np.argsort(p, kind="stable")
    steps = (p.size - np.arange(p.size)) * p[order]
    adjusted = np.empty(p.size)
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return [float(value) for value in adjusted]
