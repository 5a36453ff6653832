"""What each pack of the demo fleet reports, day by day."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.demo.stories import (
    DAYS,
    Habit,
    PackStory,
    Script,
)
from fadewatch_collector.simulation.disturbances import lowered
from fadewatch_collector.simulation.events import Events
from fadewatch_collector.simulation.fleet import Numbers, Whole
from fadewatch_collector.simulation.gauge import Gauges, learn

COLUMNS = DAYS + 1
KNEE_WIDTH = 30.0  # [day] over which the pace changes
DROP_DAYS = 2.0  # [day] that a drop takes

# Chance of learning on a day, and noise of what is learnt [fraction of design].
_LEARNING: dict[Habit, tuple[float, float]] = {
    "daily": (0.85, 0.006),
    "now-and-then": (1 / 9, 0.006),
    "mains": (1 / 130, 0.008),
    "frozen": (0.0, 0.0),
    "noisy": (1.0, 0.05),
}
_STEP_DOWN, _STEP_UP = 0.055, 0.11  # [fraction of design] 256 and 512 mAh of 4,650


@dataclass(frozen=True, slots=True, eq=False)
class PackCourses:
    """One row a pack of the script, one column a day; the last is the end.

    Attributes
    ----------
    shown
        Reported full-charge capacity [fraction of design].
    cycles
        Cycle count.
    """

    shown: Numbers
    cycles: Whole


def pack_courses(rng: np.random.Generator, script: Script) -> PackCourses:
    """Give what each pack of the script reports on each day."""
    first, last = _in_use(script)
    packs = script.packs
    health = np.stack(
        [
            _health(rng, pack, int(begin), int(end))
            for pack, begin, end in zip(packs, first, last, strict=True)
        ]
    )
    must_learn = np.zeros(health.shape, dtype=np.bool_)
    for row, pack in enumerate(packs):
        if pack.drop:
            must_learn[row, DAYS - pack.drop[0] + int(DROP_DAYS)] = True
    frozen = np.array([pack.habit == "frozen" for pack in packs])
    start = np.where(frozen, 1.0, health[:, 0])
    held = learn(rng, _gauges(packs), health, start, must_learn)
    cliffs = _events([pack.cliff for pack in packs])
    shown = lowered(held, cliffs, _events([pack.dip for pack in packs]))
    return PackCourses(shown, _cycles(packs, first, last))


def _in_use(script: Script) -> tuple[Whole, Whole]:
    """Give the first and last column of each pack, wherever it sat."""
    first = np.full(len(script.packs), DAYS)
    last = np.zeros(len(script.packs), dtype=np.int64)
    for laptop in script.laptops:
        for stay in laptop.stays:
            first[stay.pack] = min(first[stay.pack], DAYS - stay.first)
            last[stay.pack] = max(last[stay.pack], DAYS - stay.last)
    return first, last


def _health(
    rng: np.random.Generator, pack: PackStory, first: int, last: int
) -> Numbers:
    column = np.arange(COLUMNS, dtype=float)
    # Use differs from month to month.
    pace = np.repeat(rng.lognormal(0.0, 0.25, COLUMNS // 30 + 1), 30)[:COLUMNS]
    if pack.knee:
        since = column - (DAYS - pack.knee[0])
        pace *= 1 + (pack.knee[1] - 1) * np.clip(since / KNEE_WIDTH + 0.5, 0, 1)
    pace[(column <= first) | (column > last)] = 0.0
    share = np.cumsum(pace) / max(pace.sum(), 1e-9)
    health: Numbers = 1.0 - pack.wear[0] - (pack.wear[1] - pack.wear[0]) * share
    if pack.drop:
        since = column - (DAYS - pack.drop[0]) + 1
        health -= pack.drop[1] * np.clip(since / DROP_DAYS, 0, 1)
    return health


def _gauges(packs: list[PackStory]) -> Gauges:
    bounded = np.array([pack.bounded for pack in packs])
    return Gauges(
        chance=np.array([_LEARNING[pack.habit][0] for pack in packs]),
        noise=np.array([_LEARNING[pack.habit][1] for pack in packs]),
        down=np.where(bounded, _STEP_DOWN, np.inf),
        up=np.where(bounded, _STEP_UP, np.inf),
        stale=np.array([pack.habit == "mains" for pack in packs]),
        limited=bounded,
        frozen=np.array([pack.habit == "frozen" for pack in packs]),
    )


def _events(told: list[tuple[int, int, float] | None]) -> Events:
    known = [(row, *event) for row, event in enumerate(told) if event]
    row, before_end, days, size = np.array(known).T
    return Events(
        row.astype(np.int64),
        DAYS - before_end.astype(np.int64),
        days.astype(np.int64),
        size,
    )


def _cycles(packs: list[PackStory], first: Whole, last: Whole) -> NDArray[np.int64]:
    column = np.arange(COLUMNS)[None, :]
    length = np.maximum(last - first, 1)[:, None]
    share = np.clip((column - first[:, None]) / length, 0.0, 1.0)
    begin, end = np.array([pack.cycles for pack in packs], dtype=float).T
    return np.asarray(begin[:, None] + (end - begin)[:, None] * share, dtype=np.int64)
