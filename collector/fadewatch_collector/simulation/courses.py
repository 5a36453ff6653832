"""The course of packs through one window: what they hold and what gauges say."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.ageing import (
    OLDEST_START,
    WEEK,
    Ageing,
    draw_ageing,
    health_at,
)
from fadewatch_collector.simulation.disturbances import lowered, rest_bump
from fadewatch_collector.simulation.events import DAYS_A_YEAR, Events, draw_events
from fadewatch_collector.simulation.fleet import Mix, Numbers, Whole
from fadewatch_collector.simulation.gauge import Gauges, draw_gauges, learn
from fadewatch_collector.simulation.packtypes import (
    PACK_TYPES,
    STEP_DOWN_MAH,
    STEP_UP_MAH,
)

YOUNG_SHARE = 0.25  # of packs, at most two months old at the start of the window
YOUNG = 60  # [day]
UNUSED_PACE, UNUSED_KNEES = 0.7, 0.5  # of the usual, for packs kept on mains; ours
LEAST_DROP, WIDEST_DROP = 0.08, 0.40  # [fraction of design] a real drop
LEFT_AFTER_DROP = 0.15  # [fraction of design]


@dataclass(frozen=True, slots=True, eq=False)
class Courses:
    """Packs in place over a window; matrices hold fractions of design.

    Attributes
    ----------
    kinds
        Position of each pack's type in `PACK_TYPES`.
    start_age
        Age on the first day [day].
    drop_column
        Column on which the drop begins; beyond the window without one.
    true
        Health that the pack really has.
    held
        Level that the gauge holds.
    shown
        Level with false cliffs and dips: what is reported.
    cycles
        Cycle count by day.
    """

    kinds: Whole
    ageing: Ageing
    gauges: Gauges
    start_age: Numbers
    drop_column: Whole
    true: Numbers
    held: Numbers
    shown: Numbers
    cycles: NDArray[np.float32]
    rests: Events
    cliffs: Events
    dips: Events


def draw_courses(
    rng: np.random.Generator,
    mix: Mix,
    days: int,
    kinds: Whole,
    start_age: Numbers | None = None,
) -> Courses:
    """Draw one pack of each kind in `kinds` over a window of `days` days.

    Parameters
    ----------
    start_age
        Age on the first day [day]; negative: comes into being later. Drawn when None.
    """
    shape = (len(kinds), days)
    types = [PACK_TYPES[kind] for kind in kinds]
    gauges = draw_gauges(
        rng,
        mix,
        np.array([one.step(STEP_DOWN_MAH) for one in types]),
        np.array([one.step(STEP_UP_MAH) for one in types]),
    )
    pace = np.array([one.pace for one in types])
    knee_share = np.array([mix.knee * one.knee for one in types])
    ageing = draw_ageing(
        rng,
        np.where(gauges.stale, UNUSED_PACE, 1.0) * pace,
        np.where(gauges.stale, UNUSED_KNEES, 1.0) * knee_share,
        days,
    )
    start = _draw_start(rng, ageing) if start_age is None else start_age
    ageing = _with_drops(rng, mix, ageing, start, days)
    age = start[:, None] + np.arange(days)[None, :]
    true = health_at(ageing, age)
    moves = ~gauges.frozen
    rests = draw_events(rng, shape, mix.rests_a_year, (2, 14), (0.01, 0.045))
    rests = rests.only(moves[rests.pack])
    cliffs = draw_events(rng, shape, mix.false_cliffs_a_year, (1, 4), (0.06, 0.08))
    dips = draw_events(rng, shape, mix.dips_a_year, (14, 56), (0.03, 0.07))
    cliffs, dips = cliffs.only(moves[cliffs.pack]), dips.only(moves[dips.pack])
    drop_column = np.where(
        np.isfinite(ageing.drop_age), ageing.drop_age - start, days
    ).astype(np.int64)
    held = learn(
        rng,
        gauges,
        true + rest_bump(rests, shape),
        _held_at_start(rng, ageing, gauges, start),
        _shows_drop(rng, ageing, gauges, drop_column, shape),
    )
    return Courses(
        kinds=kinds,
        ageing=ageing,
        gauges=gauges,
        start_age=start,
        drop_column=drop_column,
        true=true,
        held=held,
        shown=lowered(held, cliffs, dips),
        cycles=_cycles(rng, gauges, age),
        rests=rests,
        cliffs=cliffs,
        dips=dips,
    )


def _draw_start(rng: np.random.Generator, ageing: Ageing) -> Numbers:
    packs = len(ageing.fresh)
    age = np.where(
        rng.random(packs) < YOUNG_SHARE,
        rng.integers(0, YOUNG, packs),
        rng.integers(YOUNG, OLDEST_START, packs),
    )
    # Packs are replaced when worn: few stay in use much below 60 % of design.
    kept_to = ageing.fresh - rng.uniform(0.04, 0.45, packs)
    worn = ageing.fresh[:, None] - ageing.loss <= kept_to[:, None]
    worn_age = np.where(worn.any(axis=1), worn.argmax(axis=1) * WEEK, OLDEST_START)
    start: Numbers = np.minimum(age, worn_age).astype(float)
    return start


def _with_drops(
    rng: np.random.Generator, mix: Mix, ageing: Ageing, start: Numbers, days: int
) -> Ageing:
    packs = len(start)
    column = np.floor(rng.uniform(0.1, 0.95, packs) * days)
    age = start + column
    size = LEAST_DROP + (WIDEST_DROP - LEAST_DROP) * rng.beta(1.0, 2.2, packs)
    room = health_at(ageing, age[:, None])[:, 0] - LEFT_AFTER_DROP
    chosen = (rng.random(packs) < mix.drop) & (size <= room) & (age >= 0)
    return replace(
        ageing,
        drop_age=np.where(chosen, age, np.inf),
        drop_size=np.where(chosen, size, 0.0),
        drop_days=rng.integers(1, 6, packs).astype(float),
        drop_after=rng.uniform(1.0, 3.0, packs),
    )


def _held_at_start(
    rng: np.random.Generator, ageing: Ageing, gauges: Gauges, start: Numbers
) -> Numbers:
    last_learnt = start - rng.exponential(1.0, len(start)) / gauges.chance
    level = health_at(ageing, last_learnt[:, None])[:, 0]
    level += gauges.noise * rng.standard_normal(len(start))
    # A gauge that has learnt nothing yet knows the design capacity only.
    return np.where(gauges.frozen | (last_learnt < 0), 1.0, level)


def _shows_drop(
    rng: np.random.Generator,
    ageing: Ageing,
    gauges: Gauges,
    drop_column: Whole,
    shape: tuple[int, int],
) -> NDArray[np.bool_]:
    packs = shape[0]
    delay = np.where(
        gauges.stale, rng.integers(1, 11, packs), rng.integers(0, 6, packs)
    )
    column = drop_column + ageing.drop_days.astype(np.int64) - 1 + delay
    notices = (column < shape[1]) & (~gauges.stale | (rng.random(packs) < 0.5))  # noqa: PLR2004
    must = np.zeros(shape, dtype=np.bool_)
    must[np.flatnonzero(notices), column[notices]] = True
    return must


def _cycles(
    rng: np.random.Generator, gauges: Gauges, age: Numbers
) -> NDArray[np.float32]:
    packs = len(age)
    # A laptop kept on mains, whose gauge rarely learns, hardly cycles its pack.
    a_year = np.where(
        gauges.stale,
        rng.uniform(3, 40, packs),
        np.clip(rng.lognormal(4.8, 0.6, packs), 15, 400),
    )
    cycles: NDArray[np.float32] = np.floor(
        np.maximum(age, 0.0) * (a_year / DAYS_A_YEAR)[:, None]
    ).astype(np.float32)
    return cycles
