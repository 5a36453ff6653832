"""How capacity truly falls with age: calendar, use, knees and lasting drops."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.fleet import Numbers

WEEK = 7
YEAR = 365.25
QUARTER_WEEKS = 13
OLDEST_START = 1500  # [day] oldest pack at the start of a window
HORIZON = 3653  # [day] truth is known ten years past the end of a window
LEAST_HEALTH = 0.05
LEAST_FACTOR, LARGEST_FACTOR = 3.0, 8.0  # on the pace of fade, at a knee
STEEPEST = 0.45  # [fraction of design a year] after a knee, where 3 times is less; ours


@dataclass(frozen=True, slots=True, eq=False)
class Ageing:
    """The course of many packs' health (capacity / design) with age.

    Attributes
    ----------
    fresh
        Health when new.
    loss
        Health lost by age, one column a week, knee included.
    knee_age
        [day]; infinite without a knee.
    knee_factor
        What the pace is multiplied by at the knee.
    drop_age, drop_size, drop_days, drop_after
        The one lasting drop: age [day], infinite without one; loss as a fraction
        of design; days it takes; factor on the pace of fade afterwards.
    """

    fresh: Numbers
    loss: NDArray[np.float32]
    knee_age: Numbers
    knee_factor: Numbers
    drop_age: Numbers
    drop_size: Numbers
    drop_days: Numbers
    drop_after: Numbers


def draw_ageing(
    rng: np.random.Generator, pace: Numbers, knee_share: Numbers, days: int
) -> Ageing:
    """Draw the life of one pack for each typical first-year loss in `pace`.

    Calendar loss goes with age to a power between 0.5 and 0.85, loss by use
    with age itself; use varies from quarter to quarter. At a knee, somewhere
    between 73 and 98 % of design, the pace is multiplied by 3 to 8, fast packs by
    less than slow ones.

    Parameters
    ----------
    pace
        Typical loss in the first year [fraction of design].
    knee_share
        Chance that the pack has a knee.
    days
        Length of the window [day]; lives reach `HORIZON` past it.
    """
    packs = len(pace)
    fresh = np.clip(rng.normal(1.01, 0.025, packs), 0.95, 1.08)
    own = np.clip(pace * rng.lognormal(0.0, 0.45, packs), 0.015, 0.25)
    rate = _weekly_loss(rng, own, (OLDEST_START + days + HORIZON) // WEEK + 2)
    level = np.minimum(rng.uniform(0.73, 0.98, packs), fresh - 0.02)
    bends = rng.random(packs) < knee_share
    knee_week = _first_below(fresh[:, None] - np.cumsum(rate, axis=1), level)
    knee_week = np.where(bends, knee_week, np.inf)
    steepest = np.minimum(LARGEST_FACTOR, STEEPEST / own)
    factor = rng.uniform(LEAST_FACTOR, np.maximum(steepest, LEAST_FACTOR))
    factor = np.where(np.isfinite(knee_week), factor, 1.0)
    width = rng.uniform(2.0, 10.0, packs)
    weeks = np.arange(rate.shape[1])[None, :]
    bent = np.clip((weeks - knee_week[:, None]) / width[:, None] + 0.5, 0.0, 1.0)
    rate *= (1.0 + (factor[:, None] - 1.0) * bent).astype(np.float32)
    loss = np.zeros((packs, rate.shape[1] + 1), dtype=np.float32)
    np.cumsum(rate, axis=1, out=loss[:, 1:])
    nothing = np.zeros(packs)
    return Ageing(
        fresh=fresh,
        loss=loss,
        knee_age=knee_week * WEEK,
        knee_factor=factor,
        drop_age=np.full(packs, np.inf),
        drop_size=nothing,
        drop_days=np.ones(packs),
        drop_after=np.ones(packs),
    )


def _weekly_loss(
    rng: np.random.Generator, own: Numbers, weeks: int
) -> NDArray[np.float32]:
    packs = len(own)
    by_use = rng.uniform(0.2, 0.8, packs)
    power = rng.uniform(0.5, 0.85, packs)
    years = (np.arange(weeks + 1) * (WEEK / YEAR))[None, :]
    calendar = (own * (1 - by_use))[:, None] * years ** power[:, None]
    use = (own * by_use)[:, None] * years
    quarters = rng.lognormal(-0.06, 0.35, (packs, weeks // QUARTER_WEEKS + 1))
    paces = np.repeat(quarters, QUARTER_WEEKS, axis=1)[:, :weeks]
    rate: NDArray[np.float32] = (
        np.diff(calendar, axis=1) + np.diff(use, axis=1) * paces
    ).astype(np.float32)
    return rate


def _first_below(
    health: NDArray[np.float32] | Numbers, level: Numbers
) -> NDArray[np.float64]:
    below = health <= level[:, None]
    return np.where(below.any(axis=1), below.argmax(axis=1).astype(float), np.inf)


def _lost(ageing: Ageing, age: Numbers) -> Numbers:
    position = np.clip(age / WEEK, 0.0, ageing.loss.shape[1] - 1.001)
    week = position.astype(np.int64)
    part = position - week
    before = np.take_along_axis(ageing.loss, week, axis=1)
    after = np.take_along_axis(ageing.loss, week + 1, axis=1)
    lost: Numbers = before + (after - before) * part
    return lost


def health_at(ageing: Ageing, age: Numbers) -> Numbers:
    """Give health at each age.

    Parameters
    ----------
    age
        [day], one row a pack; below zero counts as new.
    """
    lost = _lost(ageing, age)
    dropped = np.isfinite(ageing.drop_age)
    if dropped.any():
        some = _only(ageing, dropped)
        lost[dropped] += _drop_loss(some, age[dropped], lost[dropped])
    return np.maximum(ageing.fresh[:, None] - lost, LEAST_HEALTH)


def _drop_loss(ageing: Ageing, age: Numbers, lost: Numbers) -> Numbers:
    at_drop = _lost(ageing, ageing.drop_age[:, None])
    since = age - ageing.drop_age[:, None] + 1.0
    fallen = np.clip(since / ageing.drop_days[:, None], 0.0, 1.0)
    faster = (lost - at_drop) * (ageing.drop_after[:, None] - 1.0)
    extra: Numbers = np.where(
        since >= 1.0, fallen * ageing.drop_size[:, None] + faster, 0.0
    )
    return extra


def _only(ageing: Ageing, chosen: NDArray[np.bool_]) -> Ageing:
    return Ageing(
        *(getattr(ageing, name)[chosen] for name in Ageing.__dataclass_fields__)
    )


def first_age_at(ageing: Ageing, level: Numbers) -> Numbers:
    """Give the first age at which health is at or below `level`.

    Returns
    -------
    ndarray
        [day], whole; infinite where the level is never reached.
    """
    weeks = np.arange(ageing.loss.shape[1]) * float(WEEK)
    packs = len(ageing.fresh)
    weekly = health_at(ageing, np.broadcast_to(weeks, (packs, len(weeks))))
    week = _first_below(weekly, level)
    reached = np.isfinite(week)
    start = np.where(reached, (week - 1) * WEEK, 0.0)
    daily_ages = np.maximum(start[:, None] + np.arange(WEEK + 1)[None, :], 0.0)
    day = _first_below(health_at(ageing, daily_ages), level)
    first = np.maximum(start + np.where(np.isfinite(day), day, WEEK), 0.0)
    return np.where(reached, first, np.inf)
