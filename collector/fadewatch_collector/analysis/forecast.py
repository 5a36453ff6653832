"""When wear will cross a threshold, as far as packs like it tell.

Every stretch of every curve in `trajectories` is weighed by how well it matches the
history; each says when the crossing comes, and the weighted spread of what they say is
the forecast. The interval therefore knows of knees that no history shows yet.
"""

from dataclasses import dataclass, fields

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, SingleArray
from fadewatch_collector.analysis.figures import HORIZON_DAYS, Crossing
from fadewatch_collector.analysis.pace import Belief, Pace, believed, recent_pace
from fadewatch_collector.analysis.theilsen import NORMAL_QUANTILE_90
from fadewatch_collector.analysis.trajectories import (
    BINS,
    WEAR_CELLS,
    WEAR_STEP,
    Stretches,
    stretches,
)

MISFIT = 0.0015
"""Departure of real packs from any curve [fraction of design]."""
RELATIVE_MISFIT = 0.05
"""The same as a part of the wear seen."""
INDEPENDENT = 2.5
"""How many independent values a history is worth: misfit has a long memory."""
RECENCY = 4.0
"""The newest bin counts e to this power times the oldest."""
FRESH_WEAR, FRESH_SPREAD = 0.02, 0.04
"""Wear of a new pack against its design capacity, and its standard deviation.

New packs commonly read 100 to 110 % of design; cells of published sets 93 to 108 %.
"""
OWN_PACE = 0.6
"""How far a stretch's time is scaled to the fade of the pack: 1 is wholly.

The rest is the time that the curve itself would take, as the whole history tells.
"""
MOST_PACE = 2.0
"""A stretch's own pace counts as at most so many times the pack's, or its inverse."""
PACE_DOUBT = 2.0
"""Use changes: the rate to come is so many times less sure than the rate so far."""
CURVE_DOUBT = 0.25
"""No pack follows a curve of the family: spread of the logarithm of the time left."""
MOST_DOUBT = 1.0
"""Both add no more to the spread of the logarithm than this, for a rate that is
borrowed: its own spread holds the changes of use already."""
LATE_SHARE = 0.4
"""How much of the spread of what stretches say counts towards the late end.

Late in it stand slow curves, which are doubt about the rate once more.
"""
LEAST_PART, MOST_PART = 0.35, 1.3
"""Bounds of the central estimate, as parts of the time at the present fade.

At 50 to 70 % of the way to a crossing, the time that cells of six open sets without a
knee to be seen took was 0.38 times that at the present fade (10 % point) to 1.47 (75 %
point): the lower bound leaves room for a knee and no more.
"""
LEAST_LATE = 1.5
"""The late end is never sooner than so many times the time at the present fade: a pack
without a knee ahead, whose fade slows down a little, lies inside."""
LEAST_PACE = 1e-5
PACKS_AT_ONCE = 64
"""Packs weighed at once: few enough for fast memory."""
LEAST_SPAN_DAYS = 10
LEAST_WEIGHT = 1e-4
CELLS = 240
LEAST_LEFT, MOST_LEFT = np.log(1e-3), np.log(1e3)


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What the forecast of each pack starts from.

    Parameters
    ----------
    now
        Day of the newest reading [d since 1970-01-01].
    span
        Time since the history began [d].
    wear
        Wear now, a fraction.
    seen
        Mean wear in `BINS` equal spans of the history; NaN in empty ones.
    count
        Readings in each.
    noise
        Standard deviation of a reading [fraction of design].
    fade, fade_spread
        Prior of the fade rate [1/d] and spread of its natural logarithm.
    """

    now: FloatArray
    span: FloatArray
    wear: FloatArray
    seen: FloatArray
    count: FloatArray
    noise: FloatArray
    fade: FloatArray
    fade_spread: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Weights:
    """The stretches that matter to each pack, flat, and how their time is scaled."""

    pack: CountArray
    stretch: CountArray
    weight: SingleArray
    pace: SingleArray
    belief: Belief
    outlook: Outlook


def forecast(outlook: Outlook, *thresholds: FloatArray) -> list[Crossing]:
    """Return when each pack's wear comes to each threshold, with its interval.

    A pack already there has its crossing now; one not there within ten years has NaN.

    Parameters
    ----------
    outlook
        What is known of the packs.
    thresholds
        Wear to be reached, one entry a pack in each.
    """
    pieces: list[list[Crossing]] = [[] for _ in thresholds]
    for start in range(0, max(outlook.wear.size, 1), PACKS_AT_ONCE):
        part = slice(start, start + PACKS_AT_ONCE)
        weights = weigh(
            Outlook(*(getattr(outlook, f.name)[part] for f in fields(outlook)))
        )
        for said, threshold in zip(pieces, thresholds, strict=True):
            said.append(crossing(weights, threshold[part]))
    return [_joined(said) for said in pieces]


def _joined(parts: list[Crossing]) -> Crossing:
    return Crossing(
        np.concatenate([part.on for part in parts]),
        np.concatenate([part.earliest for part in parts]),
        np.concatenate([part.latest for part in parts]),
    )


def weigh(outlook: Outlook) -> Weights:
    """Weigh every stretch by how well it matches each history."""
    known = stretches()
    likely = _match(outlook, known)
    likely += known.log_prior
    likely -= likely.max(axis=1, keepdims=True)
    place = np.flatnonzero(likely > np.log(LEAST_WEIGHT))
    pack, stretch = np.divmod(place, likely.shape[1])
    weight = np.exp(likely.ravel()[place])
    own = recent_pace(outlook.seen, outlook.count, outlook.noise, outlook.span)
    belief = believed(
        own.rate / outlook.span,
        own.deviation / outlook.span,
        outlook.fade,
        outlook.fade_spread,
    )
    pace = _scaled(known, own, belief.rate * outlook.span).ravel()[place]
    return Weights(pack, stretch, weight, pace, belief, outlook)


def _scaled(known: Stretches, own: Pace, rate: FloatArray) -> SingleArray:
    """Return what to multiply each stretch's time by, to keep the pack's pace.

    The stretch's rate is measured over the same bins as the pack's.
    """
    theirs = own.pull.astype(np.float32) @ known.loss.T
    np.maximum(theirs, np.float32(LEAST_PACE), out=theirs)
    theirs /= rate.astype(np.float32)[:, None]
    kept = np.clip(theirs, 1.0 / MOST_PACE, MOST_PACE) ** np.float32(OWN_PACE - 1.0)
    theirs *= kept
    return theirs


def _match(outlook: Outlook, known: Stretches) -> SingleArray:
    """Return the logarithm of the likelihood of each history under each stretch.

    Each stretch is moved up or down to fit; how far is the wear the pack had when new.
    """
    seen = np.nan_to_num(outlook.seen)
    rise = np.maximum(outlook.wear - seen[:, 0], 0.005)
    count = np.where(np.isnan(outlook.seen), 0.0, outlook.count)
    with np.errstate(divide="ignore"):
        variance = (
            MISFIT**2
            + (RELATIVE_MISFIT * rise[:, None]) ** 2
            + outlook.noise[:, None] ** 2 / count
        )
    recency = np.exp(RECENCY * (np.arange(BINS) / BINS - 1.0))
    weight = recency / variance
    total = np.maximum(weight.sum(axis=1), 1e-9)
    mean = np.sum(weight * seen, axis=1) / total
    centred = seen - mean[:, None]
    square = np.sum(weight * centred**2, axis=1)
    share = (weight / total[:, None]).astype(np.float32)
    used = np.sum(np.where(count > 0, recency, 0.0), axis=1)
    worth = (-0.5 * INDEPENDENT / np.maximum(used, 1e-9)) * total
    level = share @ known.loss.T
    misfit = share @ known.loss_squared.T
    misfit -= 2.0 * ((share * centred.astype(np.float32)) @ known.loss.T)
    misfit -= np.square(level)
    misfit += (square / total).astype(np.float32)[:, None]
    likely: SingleArray = np.maximum(misfit, 0.0, out=misfit)
    likely *= worth.astype(np.float32)[:, None]
    fresh = np.subtract((mean - FRESH_WEAR).astype(np.float32)[:, None], level)
    likely -= np.square(fresh) * np.float32(0.5 / FRESH_SPREAD**2)
    return likely


def crossing(weights: Weights, threshold: FloatArray) -> Crossing:
    """Return when wear comes to ``threshold`` [d since 1970-01-01], with its interval.

    A pack already there has its crossing now; one not there within ten years has NaN.
    """
    known, outlook = stretches(), weights.outlook
    gap = np.maximum(threshold - outlook.wear, 0.0)
    goal = (known.loss_now[weights.stretch] + gap[weights.pack]) / WEAR_STEP
    cell = np.minimum(goal, WEAR_CELLS - 2).astype(np.int64)
    curve = known.shape[weights.stretch]
    low, high = known.reached[curve, cell], known.reached[curve, cell + 1]
    age = low + (high - low) * np.minimum(goal - cell, 1.0)
    left = (age - known.now[weights.stretch]) / known.seen[weights.stretch]
    left *= weights.pace
    parts = _quantiles(weights, np.maximum(left, 1e-6))
    at_this_fade = np.log(np.maximum(gap, WEAR_STEP / 2) / weights.belief.rate)
    days = _days(parts + np.log(outlook.span), at_this_fade, weights.belief.spread)
    on, earliest, latest = np.where(gap > 0, days, 0.0)
    near = on <= HORIZON_DAYS
    return Crossing(
        *(
            np.where(near, outlook.now + np.minimum(d, HORIZON_DAYS), np.nan)
            for d in (on, earliest, latest)
        )
    )


def _days(
    parts: FloatArray, at_this_fade: FloatArray, spread: FloatArray
) -> FloatArray:
    """Return the middle and both ends of the time left [d].

    ``parts`` are the 10, 50 and 90 % points of its logarithm without the doubt about
    the rate.
    """
    low, high = at_this_fade + np.log([[LEAST_PART], [MOST_PART]])
    middle = np.clip(parts[1], low, high)
    doubt = np.hypot(PACE_DOUBT * spread, CURVE_DOUBT)
    doubt = np.minimum(doubt, np.maximum(MOST_DOUBT, spread))
    doubt *= NORMAL_QUANTILE_90
    early = middle - np.hypot(parts[1] - parts[0], doubt)
    late = middle + np.hypot(LATE_SHARE * (parts[2] - parts[1]), doubt)
    late = np.maximum(late, at_this_fade + np.log(LEAST_LATE))
    return np.exp([middle, early, late])


def _quantiles(weights: Weights, left: FloatArray) -> FloatArray:
    """Return the 10, 50 and 90 % points of the logarithm of the time left."""
    packs = weights.outlook.wear.size
    scale = CELLS / (MOST_LEFT - LEAST_LEFT)
    cell = np.clip((np.log(left) - LEAST_LEFT) * scale, 0, CELLS - 1).astype(np.int64)
    mass = np.bincount(
        weights.pack * CELLS + cell, weights.weight, packs * CELLS
    ).reshape(packs, CELLS)
    below = np.cumsum(mass, axis=1, dtype=np.float64)
    below /= np.maximum(below[:, -1:], 1e-300)
    return np.stack([LEAST_LEFT + _at(below, p) / scale for p in (0.1, 0.5, 0.9)])


def _at(below: FloatArray, part: float) -> FloatArray:
    """Return the place, in cells, where the running share reaches ``part``."""
    cell = np.argmax(below >= part, axis=1)
    row = np.arange(len(cell))
    before = np.where(cell > 0, below[row, np.maximum(cell - 1, 0)], 0.0)
    inside = np.maximum(below[row, cell] - before, 1e-12)
    place: FloatArray = cell + np.clip((part - before) / inside, 0.0, 1.0)
    return place
