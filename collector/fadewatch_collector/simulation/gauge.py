"""What a pack's gauge makes of its true capacity."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.fleet import Mix, Numbers

# A gauge that is far off finds the pack empty or full too early, and learns soon.
FAR_OFF = 0.15  # [fraction of design] ours
NOTICED = 0.08  # chance on a day; ours


@dataclass(frozen=True, slots=True, eq=False)
class Gauges:
    """How each pack's gauge behaves.

    Attributes
    ----------
    chance
        Chance of learning on a day.
    noise
        Standard deviation of what is learnt [fraction of design].
    down, up
        Largest step of one day [fraction of design]; infinite where unlimited.
    stale, limited, frozen
        Which gauges learn once in months, step in bounds, never learn.
    """

    chance: Numbers
    noise: Numbers
    down: Numbers
    up: Numbers
    stale: NDArray[np.bool_]
    limited: NDArray[np.bool_]
    frozen: NDArray[np.bool_]


def draw_gauges(
    rng: np.random.Generator, mix: Mix, down: Numbers, up: Numbers
) -> Gauges:
    """Draw one gauge for each pair of step limits.

    Parameters
    ----------
    down, up
        Step limits, for those gauges that have them [fraction of design].
    """
    packs = len(down)
    kind = rng.random(packs)
    stale = kind < mix.stale
    occasional = ~stale & (kind < mix.stale + mix.occasional)
    between = np.where(
        stale, rng.uniform(60, 300, packs), np.exp(rng.uniform(1.0, 3.4, packs))
    )
    chance = np.where(stale | occasional, 1.0 / between, rng.uniform(0.6, 1.0, packs))
    limited = rng.random(packs) < mix.limited
    return Gauges(
        chance=chance,
        noise=mix.noise * np.clip(rng.lognormal(0.0, 0.4, packs), 0.15, 2.5),
        down=np.where(limited, down, np.inf),
        up=np.where(limited, up, np.inf),
        stale=stale,
        limited=limited,
        frozen=rng.random(packs) < mix.frozen,
    )


def learn(
    rng: np.random.Generator,
    gauges: Gauges,
    health: Numbers,
    start: Numbers,
    must_learn: NDArray[np.bool_],
) -> Numbers:
    """Give the level that each gauge holds, day by day [fraction of design].

    Parameters
    ----------
    health
        What the gauge could measure, one row a pack, one column a day.
    start
        Level held before the first day.
    must_learn
        Days on which the gauge learns whatever its habits: a pack that lost a
        cell shows it at its next full discharge.
    """
    draw = np.where(gauges.frozen[:, None], 1.0, rng.random(health.shape))
    learns = must_learn & ~gauges.frozen[:, None] | (draw < gauges.chance[:, None])
    notices = draw < NOTICED
    learnt = health + _noise(rng, gauges.noise, health.shape[1])
    # One row a day: each step of the loop then reads and writes whole rows.
    learns_by_day, notices_by_day, learnt_by_day = (
        np.ascontiguousarray(matrix.T) for matrix in (learns, notices, learnt)
    )
    held = np.empty_like(learnt_by_day)
    level = start.copy()
    target = start.copy()
    for day in range(len(held)):
        off = np.abs(target - learnt_by_day[day]) > FAR_OFF
        learns_now = learns_by_day[day] | (off & notices_by_day[day])
        target = np.where(learns_now, learnt_by_day[day], target)
        level += np.clip(target - level, -gauges.down, gauges.up)
        held[day] = level
    return np.ascontiguousarray(held.T)


def _noise(rng: np.random.Generator, spread: Numbers, days: int) -> Numbers:
    """Draw noise with heavy tails and some memory from one day to the next."""
    shape = (len(spread), days)
    # Student's t with 5 degrees of freedom has variance 5/3.
    white = rng.standard_t(5.0, shape) / np.sqrt(5 / 3)
    slow = np.zeros(shape)
    shocks = rng.standard_normal((days, len(spread))) * np.sqrt(1 - 0.9**2)
    state = rng.standard_normal(len(spread))
    for day in range(days):
        state = 0.9 * state + shocks[day]
        slow[:, day] = state
    # Day-to-day differences then have a standard deviation of `spread`.
    noise: Numbers = spread[:, None] * (0.68 * white + 0.6 * slow)
    return noise
