"""Open ageing measurements, where they are at hand: read, never copied.

The folder is named by FADEWATCH_OPEN_DATA, or lies beside the repository as
``shared/data``. Its CSV files have the columns cell_id, cycle, capacity_ah, nominal_ah.
"""

import csv
import os
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fadewatch_collector.analysis.arrays import FloatArray, Mask
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.series import Histories

REPOSITORY = Path(__file__).resolve().parents[1]
FILES = {
    "CALCE CS2": "calce_cs2_4cells.csv",
    "HUST LFP": "hust_part1.csv",
    "NASA": "nasa_pcoe_4cells.csv",
    "Oxford": "oxford_8cells.csv",
    "TJU NCA": "tju_nca.csv",
    "TJU NCM": "tju_ncm.csv",
}
FIRST_DAY = 20_000
LAST_PART = 0.05
"""A cell already so near the threshold at its start has no way to go."""


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """One cell's history: cycles since the first, and wear against nominal."""

    name: str
    cycle: FloatArray
    wear: FloatArray

    def crossing(self, threshold: float) -> float | None:
        """Return the cycle at which a 9-point median of wear reaches a threshold."""
        window = min(9, self.wear.size // 2 * 2 - 1)
        level = np.median(
            sliding_window_view(np.pad(self.wear, window // 2, mode="edge"), window),
            axis=1,
        )
        reached = level >= threshold
        if not reached.any() or level[0] > threshold - LAST_PART:
            return None
        return float(self.cycle[np.argmax(reached)])


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """Forecasts made part of the way to a crossing, and how they turned out.

    Parameters
    ----------
    error
        Forecast crossing / true crossing - 1, both since the first cycle.
    inside
        The interval held the true crossing.
    """

    error: FloatArray
    inside: Mask


def folder() -> Path | None:
    """Return the folder of open data, or None."""
    named = os.environ.get("FADEWATCH_OPEN_DATA")
    chosen = Path(named) if named else REPOSITORY.parent / "shared" / "data"
    return chosen if chosen.is_dir() else None


def cells(file: Path) -> list[Cell]:
    """Read one file's cells; rows without a capacity are left out."""
    rows: defaultdict[str, list[tuple[float, float]]] = defaultdict(list)
    with file.open(newline="", encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            if row["capacity_ah"]:
                wear = 1.0 - float(row["capacity_ah"]) / float(row["nominal_ah"])
                rows[row["cell_id"]].append((float(row["cycle"]), wear))
    return [
        Cell(name, table[:, 0] - table[0, 0], table[:, 1])
        for name, table in ((n, np.array(r)) for n, r in rows.items())
    ]


def histories(known: list[Cell], pace: float, noise: float, seed: int = 0) -> Histories:
    """Turn cycles into days, ``pace`` days each, and add a gauge's noise."""
    rng = np.random.default_rng(seed)
    pack = np.repeat(np.arange(len(known)), [c.cycle.size for c in known])
    wear = np.concatenate([c.wear for c in known])
    full = np.maximum(1.0 - wear + rng.normal(0.0, noise, wear.size), 0.001)
    return Histories.from_rows(
        [c.name for c in known],
        pack=pack,
        day=FIRST_DAY + np.round(pace * np.concatenate([c.cycle for c in known])),
        full=50_000.0 * full,
        design=np.full(wear.size, 50_000.0),
    )


def forecast_part_way(
    known: list[Cell], threshold: float, part: float, pace: float, noise: float
) -> Outcome:
    """Forecast each cell's crossing when ``part`` of the way has passed."""
    ways = [(c, c.crossing(threshold)) for c in known]
    reach = [(c, way) for c, way in ways if way is not None]
    if not reach:
        return Outcome(np.zeros(0), np.zeros(0, dtype=np.bool_))
    true = pace * np.array([way for _, way in reach])
    as_of = np.round(FIRST_DAY + part * true).astype(np.int32)
    packs = histories([c for c, _ in reach], pace, noise)
    return _judged(assess(packs, as_of, Thresholds(threshold, 0.6)), true)


def _judged(found: Assessments, true: FloatArray) -> Outcome:
    beyond = found.as_of - FIRST_DAY + 3652.5
    on = np.where(np.isnan(found.plan.on), beyond, found.plan.on - FIRST_DAY)
    early = np.where(np.isnan(found.plan.on), beyond, found.plan.earliest - FIRST_DAY)
    late = found.plan.latest - FIRST_DAY
    late = np.where(np.isnan(late) | (late >= beyond - 1), np.inf, late)
    inside = (early <= true + 0.5) & (true - 0.5 <= late)
    return Outcome(on / true - 1.0, inside)
