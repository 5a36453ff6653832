"""Forecasts on each open set, with settings chosen on the other sets only.

Run from the repository's root: ``python -m tests.benchmarks.analysis_accuracy left-out``
(a minute). For each set left out, the share of knees is the one with the least median
error on the others; all that makes the width of an interval is what comes nearest to
holding 75 to 90 % of the crossings on each of them, and among equals what is narrowest
for its misses (interval score, Gneiting and Raftery 2007, doi
10.1198/016214506000001437). Every set and threshold counts alike. Both TJU sets come
from one laboratory and are left out together. The form of the width, the family of
curves and the estimate were designed with all sets in view.
"""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from types import ModuleType
from unittest.mock import patch

import numpy as np

from fadewatch_collector.analysis import forecast, trajectories
from fadewatch_collector.analysis.arrays import FloatArray, Mask
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import HORIZON_DAYS, Thresholds
from tests.open_data import FILES, FIRST_DAY, Cell, cells, folder, histories

PARTS = (0.55, 0.60, 0.65)
SEED = 0
NOISES = (0.0, 0.01)
THRESHOLDS = (0.2, 0.3)
MOST_CELLS = 30
"""Cells taken of a larger set, evenly through its file, to save time."""
LEAST_HELD, MOST_HELD = 0.75, 0.90
KNEE_SHARES = (0.5, 0.6, 0.7, 0.75, 0.8)
WIDTHS = {
    "LATE_SHARE": (0.3, 0.4, 0.5, 0.75, 1.0),
    "PACE_DOUBT": (1.5, 2.0, 2.5, 3.0, 4.0),
    "CURVE_DOUBT": (0.0, 0.1, 0.2, 0.25, 0.3),
    "MOST_DOUBT": (0.75, 1.0),
    "LEAST_LATE": (0.5, 1.2, 1.5),
}
LEFT_OUT_TOGETHER = (("TJU NCA", "TJU NCM"),)
WITH_KNEES = ("CALCE CS2", "NASA")

Case = tuple[str, float, float]
"""A set, a threshold, and the noise added to its readings."""
Width = tuple[float, ...]
Ways = dict[tuple[str, float], list[tuple[Cell, float]]]


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What forecasts of one case rest on, before it is made an interval.

    ``days`` are the arguments of the function that makes the interval; ``left`` is the
    time that was truly left [d], ``way`` the whole way [d].
    """

    cells: int
    days: tuple[FloatArray, FloatArray, FloatArray]
    left: FloatArray
    way: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Tally:
    """Forecasts of one set and threshold: errors, how the intervals missed, score."""

    cells: int
    error: FloatArray
    before: Mask
    after: Mask
    score: float

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
    told = {share: _all_told(share, ways) for share in KNEE_SHARES}
    share = trajectories.KNEE_SHARE
    shipped = tuple(getattr(forecast, name) for name in WIDTHS)
    print("settings as shipped, all sets in view when they were chosen")
    _show({case: _tally(one, shipped) for case, one in told[share].items()})
    print("\nsettings chosen on the other sets only")
    _show(dict(_left_out(told)))


def _ways(
    data: Path,
) -> Iterator[tuple[tuple[str, float], list[tuple[Cell, float]]]]:
    for (name, file), threshold in product(FILES.items(), THRESHOLDS):
        reach = [(c, c.crossing(threshold)) for c in cells(data / file)]
        known = [(cell, way) for cell, way in reach if way is not None]
        if known:
            step = max(len(known) / MOST_CELLS, 1.0)
            chosen = np.arange(0, len(known), step).astype(int)
            yield (name, threshold), [known[place] for place in chosen]


def _all_told(share: float, ways: Ways) -> dict[Case, Told]:
    """Forecast everything with another share of knees."""
    rest = 1.0 - trajectories.RISING_SHARE - share
    trajectories.stretches.cache_clear()
    with _changed(trajectories, {"KNEE_SHARE": share, "STRAIGHT_SHARE": rest}):
        told = {
            (name, threshold, noise): _told(known, threshold, noise)
            for (name, threshold), known in ways.items()
            for noise in NOISES
        }
    trajectories.stretches.cache_clear()
    return told


@contextmanager
def _changed(module: ModuleType, settings: dict[str, float]) -> Iterator[None]:
    with ExitStack() as stack:
        for name, value in settings.items():
            stack.enter_context(patch.object(module, name, value))
        yield


def _told(ways: Sequence[tuple[Cell, float]], threshold: float, noise: float) -> Told:
    known = [cell for cell, _ in ways]
    true = np.array([way for _, way in ways])
    runs = [_forecast(known, true, threshold, part, noise) for part in PARTS]
    parts, at_fade, spread, left = (
        np.concatenate(column, axis=-1) for column in zip(*runs, strict=True)
    )
    way = np.tile(true, len(runs))
    return Told(len(known), (parts, at_fade, spread), left, way)


def _forecast(
    known: list[Cell], true: FloatArray, threshold: float, part: float, noise: float
) -> tuple[FloatArray, ...]:
    as_of = np.round(FIRST_DAY + part * true).astype(np.int32)
    packs = histories(known, 1.0, noise, SEED)
    with patch.object(forecast, "_days", wraps=forecast._days) as days:
        found = assess(packs, as_of, Thresholds(threshold, 0.6))
    # Of each pair of calls the first is of the lower threshold.
    calls = [call.args for call in days.call_args_list[::2]]
    parts, at_fade, spread = (np.concatenate(c, -1) for c in zip(*calls, strict=True))
    return parts, at_fade, spread, FIRST_DAY + true - found.last_day


def _tally(told: Told, width: Width) -> Tally:
    with _changed(forecast, dict(zip(WIDTHS, width, strict=True))):
        on, early, late = np.minimum(forecast._days(*told.days), HORIZON_DAYS)
    before = early > told.left + 0.5
    after = (late < told.left - 0.5) & (late < HORIZON_DAYS)
    low, high = np.log(np.maximum([early, late], 1.0))
    real = np.log(np.maximum(told.left, 1.0))
    missed = np.maximum(low - real, 0.0) + np.maximum(real - high, 0.0)
    score = float(np.mean(high - low + 2.0 / 0.2 * missed))
    return Tally(told.cells, (on - told.left) / told.way, before, after, score)


def _left_out(told: dict[float, dict[Case, Told]]) -> Iterator[tuple[Case, Tally]]:
    cases = list(told[KNEE_SHARES[0]])
    groups: list[tuple[str, ...]] = [*LEFT_OUT_TOGETHER]
    groups += [(name,) for name in FILES if not any(name in group for group in groups)]
    for group in groups:
        others = [case for case in cases if case[0] not in group]
        share = min(told, key=lambda share: _error(told[share], others))
        table = {
            width: {case: _tally(one, width) for case, one in told[share].items()}
            for width in product(*WIDTHS.values())
        }
        width = min(table, key=lambda width: _outside(table[width], others))
        print(f"  {' and '.join(group)}: knees {share:.0%}, width {width}")
        yield from ((case, table[width][case]) for case in cases if case[0] in group)


def _error(told: dict[Case, Told], others: Sequence[Case]) -> float:
    shipped = tuple(getattr(forecast, name) for name in WIDTHS)
    errors = (_tally(told[case], shipped).error for case in others)
    return float(np.mean([np.median(np.abs(error)) for error in errors]))


def _outside(table: dict[Case, Tally], others: Sequence[Case]) -> tuple[float, float]:
    held = np.array([table[case].held() for case in others])
    outside = np.maximum(LEAST_HELD - held, held - MOST_HELD).clip(0)
    score = np.mean([table[case].score for case in others])
    return round(float(outside.sum()), 6), float(score)


def _show(table: dict[Case, Tally]) -> None:
    for threshold in THRESHOLDS:
        print(f" crossing of {threshold:.0%}")
        names = sorted({name for name, at, _ in table if at == threshold})
        for name in names:
            both = [table[name, threshold, noise] for noise in NOISES]
            _line(name, both)
        if threshold > THRESHOLDS[0]:
            names = [name for name in names if name in WITH_KNEES]
        both = [_sum([table[n, threshold, noise] for n in names]) for noise in NOISES]
        _line("all" if threshold == THRESHOLDS[0] else "with knees", both)


def _sum(tallies: Sequence[Tally]) -> Tally:
    return Tally(
        sum(tally.cells for tally in tallies),
        np.concatenate([tally.error for tally in tallies]),
        np.concatenate([tally.before for tally in tallies]),
        np.concatenate([tally.after for tally in tallies]),
        float(np.mean([tally.score for tally in tallies])),
    )


def _line(name: str, both: Sequence[Tally]) -> None:
    tally = _sum(both)
    held = int(tally.error.size - np.sum(tally.before | tally.after))
    print(
        f"  {name:12}{both[0].cells:3d} cells  median error"
        f" {np.median(np.abs(tally.error)):5.1%}  bias {np.median(tally.error):+6.1%}"
        f"  held {held} of {tally.error.size} ({tally.held():.0%}; without noise"
        f" {both[0].held():.0%}, with {both[1].held():.0%}),"
        f" crossed before {tally.before.mean():.0%}, after {tally.after.mean():.0%}"
    )
