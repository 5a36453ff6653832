"""How long packs last before an event, from packs that are mostly still in use.

References
----------
E. L. Kaplan and P. Meier, "Nonparametric estimation from incomplete observations",
Journal of the American Statistical Association 53 (1958) 457-481,
doi 10.1080/01621459.1958.10501452.

J. P. Klein and M. L. Moeschberger, *Survival Analysis*, 2nd edition (2003), sections
4.2 (Greenwood's variance), 4.3 (log-log limits), 4.5 (limits of the median) and 4.6
(left truncation).
"""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, Mask

NORMAL_QUANTILE_975 = 1.959963984540054
"""Standard normal quantile of 0.975: a 95 % interval lies this far to either side."""

HALF = 0.5 + 1e-12
"""A half, allowing for the rounding of a product."""


@dataclass(frozen=True, slots=True, eq=False)
class Lives:
    """Watched stretches of lives, one entry a pack; any unit of time.

    A pack is at risk at time t where ``entry < t <= exit``: one that came under watch
    late says nothing about the time before (left truncation).

    Parameters
    ----------
    entry
        Age at which the watch begins, 0 or more.
    exit
        Age at which the event came or the watch ended; above ``entry``.
    event
        The event came at ``exit``; else the pack is censored there.

    Raises
    ------
    ValueError
        A stretch has no length, or a number is not one.
    """

    entry: FloatArray
    exit: FloatArray
    event: Mask

    def __post_init__(self) -> None:
        if not np.all((self.entry >= 0) & (self.exit > self.entry)):
            raise ValueError("a life must enter at 0 or later, and end after it enters")

    def __len__(self) -> int:
        """Count the packs."""
        return int(self.exit.size)

    def some(self, which: Mask) -> "Lives":
        """Return the lives of some packs."""
        return Lives(self.entry[which], self.exit[which], self.event[which])


@dataclass(frozen=True, slots=True, eq=False)
class SurvivalCurve:
    """Part of the packs without the event, after each time at which one came.

    Parameters
    ----------
    time
        Times with an event, rising.
    at_risk, events
        Packs at risk just before, and events then.
    survival
        Part without the event, a fraction.
    variance
        Of ``survival``, by Greenwood; 0 once it has reached 0.
    low, high
        95 % limits of ``survival``; NaN once it has reached 0.
    """

    time: FloatArray
    at_risk: CountArray
    events: CountArray
    survival: FloatArray
    variance: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class Median:
    """Time by which half have had the event, with 95 % limits; NaN: not reached."""

    time: float
    low: float
    high: float


def at_risk_at(lives: Lives, time: FloatArray) -> CountArray:
    """Count the packs at risk at each time."""
    entered = np.searchsorted(np.sort(lives.entry), time, side="left")
    left = np.searchsorted(np.sort(lives.exit), time, side="left")
    return np.asarray(entered - left, dtype=np.int64)


def survival_curve(lives: Lives, since: float = 0.0) -> SurvivalCurve:
    """Return the Kaplan-Meier estimate with its limits.

    Parameters
    ----------
    lives
        Packs in use and packs taken out count as censored.
    since
        Events up to this time are left out: the curve is then that of packs that had
        reached it without the event.

    Notes
    -----
    With d events among n at risk, S = prod(1 - d / n) and, by Greenwood,
    var S = S^2 sum(d / (n (n - d))). The limits are S^exp(-/+ z s / log S) with
    s^2 = sum(d / (n (n - d))): they stay between 0 and 1.
    """
    times = lives.exit[lives.event & (lives.exit > since)]
    time, events = np.unique(times, return_counts=True)
    at_risk = at_risk_at(lives, time)
    survival = np.asarray(np.cumprod(1.0 - events / at_risk), dtype=np.float64)
    ended = at_risk == events
    steps = events / (at_risk * np.where(ended, np.inf, at_risk - events))
    total = np.cumsum(steps)
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = NORMAL_QUANTILE_975 * np.sqrt(total) / np.log(survival)
        known = survival > 0
        low = np.where(known, survival ** np.exp(-reach), np.nan)
        high = np.where(known, survival ** np.exp(reach), np.nan)
    return SurvivalCurve(
        time=time,
        at_risk=at_risk,
        events=np.asarray(events, dtype=np.int64),
        survival=survival,
        variance=survival**2 * total,
        low=low,
        high=high,
    )


def median_time(curve: SurvivalCurve) -> Median:
    """Return the median with its limits: where the curve and its limits pass a half.

    Notes
    -----
    Brookmeyer and Crowley's limits by the log-log transformation (Klein and
    Moeschberger, section 4.5): the times at which a half lies within the curve's own
    limits. Where the curve reaches 0 the upper limit of time is that time at the latest.
    """
    return Median(
        _first(curve.time, curve.survival),
        _first(curve.time, np.nan_to_num(curve.low)),
        _first(curve.time, np.where(np.isnan(curve.high), 1.0, curve.high)),
    )


def survival_at(curve: SurvivalCurve, time: float) -> float:
    """Return the part without the event after a time."""
    place = int(np.searchsorted(curve.time, time, side="right"))
    return float(curve.survival[place - 1]) if place else 1.0


def well_watched_since(lives: Lives, least: int) -> float:
    """Return the time from which at least so many packs are at risk at each event.

    Where packs came under watch late, the few at risk early on would decide the whole
    curve: one event among one at risk takes it to 0 for ever. Only the early end is
    looked at; a curve may end with few packs.
    """
    time = np.unique(lives.exit[lives.event])
    at_risk = at_risk_at(lives, time)
    enough = at_risk >= least
    first = int(np.argmax(enough)) if enough.any() else 0
    return float(time[first - 1]) if first else 0.0


def _first(time: FloatArray, values: FloatArray) -> float:
    below = values <= HALF
    return float(time[np.argmax(below)]) if below.any() else float("nan")
