"""The cleaned level of one history, day by day: what a plot draws as its line."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fadewatch_collector.analysis.arrays import DayArray, FloatArray
from fadewatch_collector.analysis.cleaning import prepare
from fadewatch_collector.analysis.medians import running_median_of_5
from fadewatch_collector.analysis.series import Histories


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """The level of wear on each day with a usable reading.

    Parameters
    ----------
    day
        [d since 1970-01-01], rising.
    wear
        Cleaned wear of that day, a fraction.
    """

    day: DayArray
    wear: FloatArray


def cleaned_levels(day: ArrayLike, wear: ArrayLike) -> Levels:
    """Return the level of one history: what is left without nonsense and noise.

    Readings that cannot be true, or stem from a wrong clock, are left out; spikes are
    put back among their neighbours as for an assessment; a running median of five,
    taken twice, calms the rest. A lasting step stays a step.

    Parameters
    ----------
    day
        Day of each reading [d since 1970-01-01], in any order.
    wear
        Wear of each reading, a fraction.

    Notes
    -----
    Medians of medians smooth better than one wide window and keep edges: Tukey,
    *Exploratory Data Analysis* (1977), chapter 7.
    """
    health = 1.0 - np.asarray(wear, dtype=np.float64)
    days = np.asarray(day)
    history = Histories.from_rows(
        ("",),
        pack=np.zeros(days.size),
        day=days,
        full=health,
        design=np.ones(days.size),
    )
    if history.day.size == 0:
        return Levels(history.day, np.zeros(0))
    batch = prepare(history, history.day[-1:])
    level = running_median_of_5(running_median_of_5(batch.health))
    real = batch.real[0]
    return Levels(
        batch.day[0, real].astype(np.int32), 1.0 - level[0, real].astype(np.float64)
    )
