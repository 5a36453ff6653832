"""Whether the gauge can be believed."""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CodeArray, FloatArray, Mask
from fadewatch_collector.analysis.cleaning import HELD_STEP, Batch
from fadewatch_collector.analysis.figures import GAUGES

STALE_DAYS = 60
"""A value held so long is stale [d]; own choice.

A gauge learns only after a swing of a third of the capacity and hours of rest, so a
laptop kept on mains may go months without.
"""
FROZEN_DAYS = 90
"""Full-charge capacity equal to design so long was never learnt [d]; own choice."""
FROZEN_CYCLES = 30
"""Or through so many cycles; own choice."""
AT_DESIGN = 1e-4
NOISY = 0.025
"""Day-to-day noise of a noisy gauge [fraction of design].

A laptop's gauge usually shows about 1 %.
"""
IMPLAUSIBLE_SHARE = 0.2
"""Share of unusable readings among the newest from which a gauge is implausible."""
LEAST_READINGS = 10
_GOOD, _STALE, _FROZEN, _NOISY, _IMPLAUSIBLE = range(len(GAUGES))


@dataclass(frozen=True, slots=True, eq=False)
class Trust:
    """Code into `GAUGES`, and the day since when a held value has stood [d]."""

    code: CodeArray
    since: FloatArray
    frozen: Mask


def judge_gauges(batch: Batch) -> Trust:
    """Judge each gauge, the gravest doubt first."""
    since = _held_since(batch)
    newest = batch.day[:, -1].astype(np.float64)
    many = batch.count >= LEAST_READINGS
    at_design = np.all(np.abs(batch.raw - 1.0) < AT_DESIGN, axis=1)
    cycles = np.nan_to_num(batch.cycles)
    cycled = cycles[:, -1] - cycles[:, 0] >= FROZEN_CYCLES
    held = newest - since
    frozen = many & at_design & ((held >= FROZEN_DAYS) | cycled)
    code = np.select(
        [
            batch.implausible >= IMPLAUSIBLE_SHARE,
            frozen,
            many & (held >= STALE_DAYS),
            many & (batch.noise >= NOISY),
        ],
        [_IMPLAUSIBLE, _FROZEN, _STALE, _NOISY],
        _GOOD,
    ).astype(np.int8)
    shown = (code == _STALE) | (code == _FROZEN)
    return Trust(code, np.where(shown, since, np.nan), frozen)


def _held_since(batch: Batch) -> FloatArray:
    """Return the first day of the run of equal values at the end [d]."""
    columns = batch.health.shape[1]
    moved = np.zeros(batch.health.shape, dtype=np.bool_)
    moved[:, 1:] = np.abs(np.diff(batch.health, axis=1)) > HELD_STEP
    last = columns - 1 - np.argmax(moved[:, ::-1], axis=1)
    last = np.where(moved.any(axis=1), last, columns - np.maximum(batch.count, 1))
    since: FloatArray = batch.day[np.arange(len(last)), last].astype(np.float64)
    return since
