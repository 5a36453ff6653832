"""What makes a reading differ from the level its gauge holds."""

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.events import Events
from fadewatch_collector.simulation.fleet import Numbers, Whole

RELEARN_PARTS = 3  # a dip comes back in a few steps more often than in one


def rest_bump(rests: Events, shape: tuple[int, int]) -> Numbers:
    """Give the capacity that comes back after each rest, and fades again.

    Parameters
    ----------
    rests
        `size` is the gain after the rest [fraction of design]; it decays by a
        factor e in as many days as the rest took, at least five.
    shape
        Packs and days of the window.
    """
    bump = np.zeros(shape)
    decay = np.maximum(rests.days, 5)
    after = Events(rests.pack, rests.day + rests.days, decay * 4, rests.size)
    row, column, event = after.cells(shape[1])
    gain = after.size[event] * np.exp(-(column - after.day[event]) / decay[event])
    np.add.at(bump, (row, column), gain)
    return bump


def lowered(level: Numbers, cliffs: Events, dips: Events) -> Numbers:
    """Lower the level for the time of each false cliff and dip.

    Parameters
    ----------
    cliffs, dips
        `size` is the depth [fraction of design].
    """
    disturbed = level.copy()
    row, column, event = cliffs.cells(level.shape[1])
    np.subtract.at(disturbed, (row, column), cliffs.size[event])
    row, column, event = dips.cells(level.shape[1])
    passed = (column - dips.day[event]) / dips.days[event]
    # The last fifth of a dip climbs back in steps, as a relearning gauge does.
    left = np.ceil(np.clip((1.0 - passed) * 5, 0, 1) * RELEARN_PARTS) / RELEARN_PARTS
    np.subtract.at(disturbed, (row, column), dips.size[event] * left)
    return disturbed


def nonsense_values(
    rng: np.random.Generator, full: NDArray[np.float32], row: Whole, column: Whole
) -> NDArray[np.float32]:
    """Give a meaningless value for each cell: 0, a tenth, 65535 or another pack's.

    Parameters
    ----------
    full
        Reported full-charge capacity, whole matrix [each pack's unit].
    """
    others = rng.permutation(len(full))[row % len(full)]
    chosen = rng.integers(0, 4, len(row))
    values: NDArray[np.float32] = np.choose(
        chosen,
        [
            np.zeros(len(row), dtype=np.float32),
            np.round(full[row, column] / 10),
            np.full(len(row), 65535, dtype=np.float32),
            full[others, column],
        ],
    )
    return values
