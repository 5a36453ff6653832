"""Forecasts on each open set, with settings chosen on the other sets only.

Run from the repository's root: ``python -m tests.benchmarks.analysis_accuracy left-out``
(a minute). For each set left out, the share of knees is the one with the least median
error on the others, and the doubt about the rate the one whose intervals come nearest to
holding 75 to 90 % on each of them; every set and threshold counts alike. Both TJU sets
come from one laboratory and are left out together. All other settings are as shipped,
and were chosen by hand with all sets in view.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import TypeVar

import numpy as np

from fadewatch_collector.analysis import forecast, trajectories
from fadewatch_collector.analysis.arrays import FloatArray, Mask
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import Thresholds
from tests.open_data import FILES, FIRST_DAY, Cell, cells, folder, histories

PARTS = (0.55, 0.60, 0.65)
SEEDS = (0, 1)
NOISES = (0.0, 0.01)
THRESHOLDS = (0.2, 0.3)
MOST_CELLS = 20
"""Cells taken of a larger set, evenly through its file, to save time."""
LEAST_HELD, MOST_HELD = 0.75, 0.90
KNEE_SHARES = (0.5, 0.6, 0.7, 0.8)
DOUBTS = (3.0, 3.5, 4.0, 4.5, 5.0, 5.5)
LEFT_OUT_TOGETHER = (("TJU NCA", "TJU NCM"),)
WITH_KNEES = ("CALCE CS2", "NASA")

Case = tuple[str, float]
Setting = tuple[float, float]
Found = TypeVar("Found")


@dataclass(frozen=True, slots=True, eq=False)
class Tally:
    """Forecasts of one set and threshold: errors, and how the intervals missed."""

    cells: int
    error: FloatArray
    before: Mask
    after: Mask

    def held(self) -> float:
        """Return the share of intervals that held the crossing."""
        return 1.0 - float(np.mean(self.before | self.after))


def main() -> None:
    """Print the tables."""
    data = folder()
    if data is None:
        print("no folder of open data: see tests/open_data.py")
        return
    ways = dict(_ways(data))
    shipped = (trajectories.KNEE_SHARE, forecast.PACE_DOUBT)
    tables = {
        setting: _with(setting, lambda: {case: _tally(case, ways) for case in ways})
        for setting in {shipped, *product(KNEE_SHARES, DOUBTS)}
    }
    _with(shipped, dict)
    print("settings as shipped, all sets in view when they were chosen")
    _show(tables[shipped])
    print("\nsettings chosen on the other sets only")
    _show(dict(_left_out(tables)))


def _ways(data: Path) -> Iterator[tuple[Case, list[tuple[Cell, float]]]]:
    for (name, file), threshold in product(FILES.items(), THRESHOLDS):
        reach = [(c, c.crossing(threshold)) for c in cells(data / file)]
        known = [(cell, way) for cell, way in reach if way is not None]
        if known:
            step = max(len(known) / MOST_CELLS, 1.0)
            chosen = np.arange(0, len(known), step).astype(int)
            yield (name, threshold), [known[place] for place in chosen]


def _with(setting: Setting, work: Callable[[], Found]) -> Found:
    """Do some work under other settings, which stay until the next call."""
    share, forecast.PACE_DOUBT = setting
    rest = 1.0 - trajectories.RISING_SHARE
    trajectories.KNEE_SHARE, trajectories.STRAIGHT_SHARE = share, rest - share
    trajectories.stretches.cache_clear()
    return work()


def _tally(case: Case, ways: dict[Case, list[tuple[Cell, float]]]) -> Tally:
    known = [cell for cell, _ in ways[case]]
    true = np.array([way for _, way in ways[case]])
    runs = [
        _forecast(known, true, case[1], part, noise, seed)
        for part, noise, seed in product(PARTS, NOISES, SEEDS)
        if noise or seed == SEEDS[0]
    ]
    error, before, after = (
        np.concatenate(column) for column in zip(*runs, strict=True)
    )
    return Tally(len(known), error, before.astype(bool), after.astype(bool))


def _forecast(
    known: Sequence[Cell],
    true: FloatArray,
    threshold: float,
    part: float,
    noise: float,
    seed: int,
) -> tuple[FloatArray, Mask, Mask]:
    as_of = np.round(FIRST_DAY + part * true).astype(np.int32)
    packs = histories(list(known), 1.0, noise, seed)
    plan = assess(packs, as_of, Thresholds(threshold, 0.6)).plan
    beyond = as_of - FIRST_DAY + 3652.0
    on, early, late = (
        np.where(np.isnan(day), beyond, day - FIRST_DAY)
        for day in (plan.on, plan.earliest, plan.latest)
    )
    after = (late < true - 0.5) & (late < beyond - 1.0)
    return on / true - 1.0, early > true + 0.5, after


def _left_out(tables: dict[Setting, dict[Case, Tally]]) -> Iterator[tuple[Case, Tally]]:
    cases = list(next(iter(tables.values())))
    groups: list[tuple[str, ...]] = [*LEFT_OUT_TOGETHER]
    groups += [(name,) for name in FILES if not any(name in group for group in groups)]
    for group in groups:
        others = [case for case in cases if case[0] not in group]
        setting = _chosen(tables, others)
        print(f"  {' and '.join(group)}: knees {setting[0]:.0%}, doubt {setting[1]}")
        for case in cases:
            if case[0] in group:
                yield case, tables[setting][case]


def _chosen(
    tables: dict[Setting, dict[Case, Tally]], others: Sequence[Case]
) -> Setting:
    def error(share: float) -> float:
        table = tables[share, DOUBTS[0]]
        return float(np.mean([np.median(np.abs(table[case].error)) for case in others]))

    share = min(KNEE_SHARES, key=error)

    def outside(doubt: float) -> float:
        held = np.array([tables[share, doubt][case].held() for case in others])
        return float(np.sum(np.maximum(LEAST_HELD - held, held - MOST_HELD).clip(0)))

    return share, min(DOUBTS, key=outside)


def _show(table: dict[Case, Tally]) -> None:
    for threshold in THRESHOLDS:
        print(f" crossing of {threshold:.0%}")
        named = [(n, t) for (n, at), t in sorted(table.items()) if at == threshold]
        for name, tally in named:
            _line(name, tally)
        if threshold > THRESHOLDS[0]:
            named = [(n, t) for n, t in named if n in WITH_KNEES]
        _line("all" if threshold == THRESHOLDS[0] else "with knees", _sum(named))


def _sum(named: Sequence[tuple[str, Tally]]) -> Tally:
    tallies = [tally for _, tally in named]
    return Tally(
        sum(tally.cells for tally in tallies),
        np.concatenate([tally.error for tally in tallies]),
        np.concatenate([tally.before for tally in tallies]),
        np.concatenate([tally.after for tally in tallies]),
    )


def _line(name: str, tally: Tally) -> None:
    held = int(tally.error.size - np.sum(tally.before | tally.after))
    print(
        f"  {name:12}{tally.cells:3d} cells  median error"
        f" {np.median(np.abs(tally.error)):5.1%}  bias {np.median(tally.error):+6.1%}"
        f"  held {held} of {tally.error.size} ({tally.held():.0%}),"
        f" crossed before {tally.before.mean():.0%}, after {tally.after.mean():.0%}"
    )
