"""Histories made to order: one phenomenon at a time, on round figures."""

import numpy as np
from numpy.typing import ArrayLike

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.series import Histories

FIRST_DAY = 20_000
DESIGN = 50_000.0


def histories(*health: ArrayLike, first_day: int = FIRST_DAY) -> Histories:
    """Make one pack of each row of full-charge / design capacity, a reading a day."""
    rows = [np.asarray(h, dtype=np.float64) for h in health]
    pack = np.concatenate([np.full(r.size, i) for i, r in enumerate(rows)])
    day = np.concatenate([first_day + np.arange(r.size) for r in rows])
    full = np.concatenate(rows) * DESIGN
    return Histories.from_rows(
        [f"pack-{i}" for i in range(len(rows))],
        pack=pack,
        day=day,
        full=full,
        design=np.full(full.size, DESIGN),
    )


def noise(days: int, spread: float = 0.01, seed: int = 1) -> FloatArray:
    """Make a gauge's day-to-day noise [fraction of design]."""
    return np.random.default_rng(seed).normal(0.0, spread, days)


def straight(days: int, a_month: float = 0.01, start: float = 1.0) -> FloatArray:
    """Make health that falls by ``a_month`` every 30.4375 days."""
    health: FloatArray = start - a_month * np.arange(days, dtype=np.float64) / 30.4375
    return health


def on_last_day(known: Histories, later: int = 0) -> Assessments:
    """Assess everything ``later`` days after the newest reading."""
    return assess(known, int(known.day.max()) + later)


def at(known: Histories, day: int, thresholds: Thresholds | None = None) -> Assessments:
    """Assess everything on the given day of the history, counted from its first."""
    return assess(known, FIRST_DAY + day, thresholds or Thresholds())
