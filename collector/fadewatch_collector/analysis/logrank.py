"""Whether the events of two groups of packs come at the same pace.

References
----------
N. Mantel, "Evaluation of survival data and two new rank order statistics arising in its
consideration", Cancer Chemotherapy Reports 50 (1966) 163-170.

J. P. Klein and M. L. Moeschberger, *Survival Analysis*, 2nd edition (2003), section 7.3,
with delayed entry as in section 9.4.
"""

from dataclasses import dataclass
from math import erfc, sqrt

import numpy as np

from fadewatch_collector.analysis.arrays import Mask
from fadewatch_collector.analysis.survival import Lives, at_risk_at


@dataclass(frozen=True, slots=True)
class LogRank:
    """Events of the first group against those expected if both were alike.

    Parameters
    ----------
    observed, expected
        Events of the first group [count].
    variance
        Of the observed events, given all of them.
    chi_square
        (observed - expected)^2 / variance, one degree of freedom; 0 without variance.
    p_value
        Chance of so large a difference, to either side, if both were alike.
    """

    observed: int
    expected: float
    variance: float
    chi_square: float
    p_value: float


def log_rank(lives: Lives, first: Mask) -> LogRank:
    """Compare the packs marked in ``first`` with all others.

    Notes
    -----
    At each event time, with d events among n at risk, n1 of them of the first group,
    d n1 / n events of the first group are expected, with the hypergeometric variance
    d (n1 / n) (1 - n1 / n) (n - d) / (n - 1).
    """
    time, events = np.unique(lives.exit[lives.event], return_counts=True)
    mine = lives.some(first)
    at_risk = at_risk_at(lives, time).astype(np.float64)
    share = at_risk_at(mine, time) / at_risk
    expected = float(np.sum(events * share))
    fewer = np.where(
        at_risk > 1, (at_risk - events) / np.maximum(at_risk - 1.0, 1.0), 0.0
    )
    variance = float(np.sum(events * share * (1.0 - share) * fewer))
    observed = int(np.sum(mine.event))
    chi_square = (observed - expected) ** 2 / variance if variance > 0 else 0.0
    return LogRank(
        observed=observed,
        expected=expected,
        variance=variance,
        chi_square=chi_square,
        p_value=erfc(sqrt(chi_square / 2.0)),
    )
