"""When wear will cross a threshold, as far as packs like it tell.

Every stretch of every curve in `trajectories` is weighed by how well it matches the
history; each says when the crossing comes, and the weighted spread of what they say is
the forecast. The interval therefore knows of knees that no history shows yet.
"""

from dataclasses import dataclass, fields

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray, SingleArray
from fadewatch_collector.analysis.figures import HORIZON_DAYS, Crossing
from fadewatch_collector.analysis.trajectories import (
    BINS,
    UNIT_WEAR,
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
UNIT_SPREAD = 1.6
"""Spread of the natural logarithm of time to lose `UNIT_WEAR`, beyond the prior's."""
TAIL = 3.0
"""Degrees of freedom of the prior of time: packs far from the usual exist."""
WIDENING = 1.4
"""The interval is this much wider, in the logarithm of time left, than the weights say.

Chosen so that about 80 % of crossings fall inside on open data and simulated fleets.
"""
QUARTER = slice(3 * BINS // 4 - 2, 3 * BINS // 4 + 2)
"""Bins about the day that three quarters of the history had passed."""
PACE_TRUST = 0.6
"""How far a stretch's time is stretched to the pack's own recent pace: 1 is wholly."""
PACE_DOUBT = 30.0
"""A loss of five and a half times its standard error is half trusted."""
MOST_PACE = 3.0
LEAST_LOSS = 1e-4
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
    by_shape = likely.reshape(len(likely), len(known.reached), known.pieces)
    by_shape += _time_prior(outlook, known)[:, None, :]
    likely -= likely.max(axis=1, keepdims=True)
    place = np.flatnonzero(likely > np.log(LEAST_WEIGHT))
    pack, stretch = np.divmod(place, likely.shape[1])
    weight = np.exp(likely.ravel()[place])
    return Weights(pack, stretch, weight, _pace(outlook, pack, stretch), outlook)


def _time_prior(outlook: Outlook, known: Stretches) -> SingleArray:
    """Return the logarithm of the prior of time, for each stretch of one shape."""
    unit = np.log(outlook.span)[:, None] - np.log(known.seen[: known.pieces])
    usual = np.log(UNIT_WEAR / outlook.fade)[:, None]
    spread = np.hypot(UNIT_SPREAD, outlook.fade_spread)[:, None]
    far = np.square((unit - usual) / spread) / TAIL
    return np.asarray(-0.5 * (TAIL + 1.0) * np.log1p(far), dtype=np.float32)


def _pace(outlook: Outlook, pack: CountArray, stretch: CountArray) -> SingleArray:
    """Return how much faster each stretch fades of late than the pack does.

    It is the ratio of what they lost over the last quarter of the history, drawn
    towards 1 as far as noise leaves the pack's own loss uncertain.
    """
    known = stretches()
    quarter = outlook.seen[:, QUARTER]
    count = np.where(np.isnan(quarter), 0.0, outlook.count[:, QUARTER])
    filled = np.maximum(np.sum(count > 0, axis=1), 1)
    lost = np.maximum(outlook.wear - np.nansum(quarter, axis=1) / filled, 0.0)
    readings = np.sum(count, axis=1)
    doubt = MISFIT**2 + 2.0 * outlook.noise**2 / np.maximum(readings, 1.0)
    sure = PACE_TRUST * lost**2 / (lost**2 + PACE_DOUBT * doubt)
    sure = np.where(readings > 0, sure, 0.0)
    theirs = known.loss_now - known.loss[:, QUARTER].mean(axis=1)
    ratio = theirs[stretch] / np.maximum(lost, LEAST_LOSS)[pack]
    pace = np.clip(ratio, 1.0 / MOST_PACE, MOST_PACE) ** sure[pack]
    return np.asarray(pace, dtype=np.float32)


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
    early, middle, late = _quantiles(weights, np.maximum(left, 1e-6))
    reach = WIDENING * np.array([early - middle, late - middle])
    days = outlook.span * np.exp([middle, middle + reach[0], middle + reach[1]])
    on, earliest, latest = np.where(gap > 0, days, 0.0)
    near = on <= HORIZON_DAYS
    return Crossing(
        *(
            np.where(near, outlook.now + np.minimum(d, HORIZON_DAYS), np.nan)
            for d in (on, earliest, latest)
        )
    )


def _quantiles(
    weights: Weights, left: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the 10, 50 and 90 % points of the logarithm of the time left."""
    packs = weights.outlook.wear.size
    scale = CELLS / (MOST_LEFT - LEAST_LEFT)
    cell = np.clip((np.log(left) - LEAST_LEFT) * scale, 0, CELLS - 1).astype(np.int64)
    mass = np.bincount(
        weights.pack * CELLS + cell, weights.weight, packs * CELLS
    ).reshape(packs, CELLS)
    below = np.cumsum(mass, axis=1, dtype=np.float64)
    below /= np.maximum(below[:, -1:], 1e-300)
    early, middle, late = (
        LEAST_LEFT + _at(below, part) / scale for part in (0.1, 0.5, 0.9)
    )
    return early, middle, late


def _at(below: FloatArray, part: float) -> FloatArray:
    """Return the place, in cells, where the running share reaches ``part``."""
    cell = np.argmax(below >= part, axis=1)
    row = np.arange(len(cell))
    before = np.where(cell > 0, below[row, np.maximum(cell - 1, 0)], 0.0)
    inside = np.maximum(below[row, cell] - before, 1e-12)
    place: FloatArray = cell + np.clip((part - before) / inside, 0.0, 1.0)
    return place
