"""How fast packs fade now, with an interval, helped by what comparable packs do."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CodeArray, FloatArray, Mask
from fadewatch_collector.analysis.binning import bin_means
from fadewatch_collector.analysis.cleaning import Batch
from fadewatch_collector.analysis.course import Course
from fadewatch_collector.analysis.figures import Spread
from fadewatch_collector.analysis.forecast import LEAST_SPAN_DAYS
from fadewatch_collector.analysis.pace import Pace, believed, recent_pace
from fadewatch_collector.analysis.priors import Priors
from fadewatch_collector.analysis.theilsen import NORMAL_QUANTILE_90
from fadewatch_collector.analysis.trajectories import BINS

LEAST_CYCLES = 20
"""Fewer cycles say nothing about fade per cycle; own choice."""
USE_SPREAD = 0.1
"""Spread of the logarithm of fade that use adds from month to month; own choice."""
MOSTLY_OWN = 0.5
OWN = 0


@dataclass(frozen=True, slots=True, eq=False)
class Fade:
    """The rate of fade now [1/d], the same per cycle, and where it comes from.

    ``sure`` is the pack's own rate as far as its history bears it out, else towards 0.
    """

    daily: Spread
    sure: FloatArray
    per_cycle: Spread
    source: CodeArray


def own_fade(batch: Batch, course: Course) -> Pace:
    """Return each pack's own pace [1/d], over the bins that its forecast starts from.

    So a crossing and the fade beside it tell the same story.
    """
    now = batch.day[:, -1].astype(np.float64)
    span = np.maximum(now - course.start, LEAST_SPAN_DAYS)
    bins = bin_means(batch.day, course.health, course.use, now - span, now, BINS)
    pace = recent_pace(1.0 - bins.value, bins.count, batch.noise, span)
    return Pace(pace.rate / span, pace.deviation / span, pace.pull)


def with_prior(batch: Batch, course: Course, own: Pace, priors: Priors) -> Fade:
    """Weigh each pack's own rate against its prior."""
    belief = believed(own.rate, own.deviation, priors.fade, priors.spread)
    spread = np.hypot(belief.spread, USE_SPREAD)
    reach = np.exp(NORMAL_QUANTILE_90 * spread)
    daily = Spread(belief.rate, belief.rate / reach, belief.rate * reach)
    share = 1.0 / (1.0 + (own.deviation / (belief.rate * priors.spread)) ** 2)
    own_part = share >= MOSTLY_OWN
    source = np.where(own_part, OWN, priors.source).astype(np.int8)
    per_cycle = _per_cycle(batch, course, daily, own_part)
    return Fade(daily, share * own.rate, per_cycle, source)


def _per_cycle(batch: Batch, course: Course, daily: Spread, own: Mask) -> Spread:
    """Return the rate per cycle [1], from the cycles counted since the start.

    NaN where the rate is mostly borrowed: its cycles are not this pack's.
    """
    known = course.use & ~np.isnan(batch.cycles)
    first = np.argmax(known, axis=1)
    last = known.shape[1] - 1 - np.argmax(known[:, ::-1], axis=1)
    row = np.arange(len(first))
    counted = np.where(
        known.any(axis=1), batch.cycles[row, last] - batch.cycles[row, first], 0.0
    )
    days = batch.day[row, last] - batch.day[row, first]
    with np.errstate(divide="ignore", invalid="ignore"):
        days_per_cycle = np.where(
            own & (counted >= LEAST_CYCLES) & (days > 0), days / counted, np.nan
        )
    return Spread(
        daily.estimate * days_per_cycle,
        daily.low * days_per_cycle,
        daily.high * days_per_cycle,
    )
