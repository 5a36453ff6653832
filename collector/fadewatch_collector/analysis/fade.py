"""How fast packs fade now, with an interval, helped by what comparable packs do."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CodeArray, FloatArray, Mask
from fadewatch_collector.analysis.binning import Bins, bin_means
from fadewatch_collector.analysis.cleaning import Batch
from fadewatch_collector.analysis.course import Course
from fadewatch_collector.analysis.figures import Spread
from fadewatch_collector.analysis.priors import Priors
from fadewatch_collector.analysis.theilsen import NORMAL_QUANTILE_90, theil_sen

WINDOW_PART = 0.4
"""The rate now is that over the newest part of the history; own choice."""
LEAST_WINDOW_DAYS = 90
WINDOW_BINS = 20
LEAST_BINS = 4
MEMORY = 1.6
"""Noise of a gauge has memory, so intervals are wider than independence says."""
LEAST_CYCLES = 20
"""Fewer cycles say nothing about fade per cycle; own choice."""
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


def own_fade(batch: Batch, course: Course) -> Spread:
    """Return each pack's own rate over its newest readings [1/d].

    Theil-Sen over the means of up to `WINDOW_BINS` equal spans; NaN with fewer than
    `LEAST_BINS` of them filled.
    """
    now = batch.day[:, -1].astype(np.float64)
    span = now - course.start
    window = np.minimum(span, np.maximum(WINDOW_PART * span, LEAST_WINDOW_DAYS))
    bins = bin_means(
        batch.day, course.health, course.learnt, now - window, now, WINDOW_BINS
    )
    return _falling(bins)


def _falling(bins: Bins) -> Spread:
    slope = theil_sen(bins.time, bins.value)
    few = np.sum(~np.isnan(bins.value), axis=1) < LEAST_BINS
    middle = np.where(few, np.nan, -slope.estimate)
    half = MEMORY * (slope.high - slope.low) / 2.0
    centre = -(slope.high + slope.low) / 2.0
    low = np.minimum(centre - half, middle)
    high = np.maximum(centre + half, middle)
    return Spread(middle, low, high)


def with_prior(batch: Batch, course: Course, own: Spread, priors: Priors) -> Fade:
    """Weigh each pack's own rate against its prior, each by its precision."""
    now = batch.day[:, -1].astype(np.float64)
    span = np.maximum(now - course.start, 1.0)
    sampling = batch.noise / (span * np.sqrt(np.maximum(batch.count, 1) / 12.0))
    deviation = np.maximum((own.high - own.low) / (2.0 * NORMAL_QUANTILE_90), sampling)
    prior_deviation = priors.fade * priors.spread
    with np.errstate(invalid="ignore", divide="ignore"):
        share = 1.0 / (1.0 + (deviation / prior_deviation) ** 2)
    share = np.where(np.isnan(own.estimate), 0.0, np.nan_to_num(share))
    estimate = share * np.nan_to_num(own.estimate) + (1.0 - share) * priors.fade
    spread = np.sqrt(
        (share * np.nan_to_num(deviation)) ** 2 + ((1.0 - share) * prior_deviation) ** 2
    )
    reach = NORMAL_QUANTILE_90 * spread
    low = np.maximum(estimate - reach, np.minimum(estimate, 0.0))
    daily = Spread(estimate, low, estimate + reach)
    own_part = share >= MOSTLY_OWN
    source = np.where(own_part, OWN, priors.source).astype(np.int8)
    sure = share * np.nan_to_num(own.estimate)
    return Fade(daily, sure, _per_cycle(batch, course, daily, own_part), source)


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
