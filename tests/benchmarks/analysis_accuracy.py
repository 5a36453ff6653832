"""Measure how right forecasts are, on simulated fleets and on open data.

Run from the repository's root:
``python -m tests.benchmarks.analysis_accuracy [packs] [first seed]``. No curve is fitted
to a data set, but the settings were chosen with these open sets in view: their figures
here are not those of sets left out, which ``... analysis_accuracy left-out`` prints.
"""

import sys
from collections.abc import Iterator

import numpy as np

from fadewatch_collector.analysis.arrays import FloatArray, Mask
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.priors import fleet_priors
from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.simulation.fleet import Fleet
from fadewatch_collector.simulation.histories import simulate
from tests.benchmarks import analysis_left_out
from tests.benchmarks.drop_accuracy import END, EPOCH, as_histories
from tests.benchmarks.drop_judge import Watched, by_analysis
from tests.open_data import FILES, cells, folder, forecast_part_way, histories

READINGS_AFTER = 4
FLEETS = 2
OPEN_STEP = 3
OPEN_NOISE = 0.01


def main() -> None:
    """Print all tables."""
    if sys.argv[1:] == ["left-out"]:
        analysis_left_out.main()
        return
    packs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 100
    for number in range(seed, seed + FLEETS):
        crossings(simulate(packs, end=END, seed=number), number)
    open_sets()


def crossings(fleet: Fleet, seed: int) -> None:
    """Print how forecasts of the 30 % crossing turned out on one fleet."""
    known = as_histories(fleet)
    now = (END - EPOCH).days
    limits = Thresholds(0.3, 0.6)
    first = assess(known, now, limits)
    found = assess(known, now, limits, fleet_priors(first, fleet.pack_types))
    true = np.array(
        [
            (t.crossings[1] - EPOCH).days if t.crossings[1] else np.inf
            for t in fleet.truths
        ]
    )
    plain = np.array([not t.swaps and not t.drops for t in fleet.truths])
    ahead = plain & (true > now) & (found.readings > READINGS_AFTER)
    ahead &= ~np.isnan(found.fade.estimate)
    print(f"fleet {seed}: crossings of 30 % ahead, by wear now")
    for low, high in ((-1.0, 0.1), (0.1, 0.2), (0.2, 0.3)):
        some = ahead & (found.wear >= low) & (found.wear < high)
        line(
            f"  wear {max(low, 0):.0%} to {high:.0%}", *ahead_of(found, true, now, some)
        )


def ahead_of(
    found: Assessments, true: FloatArray, now: int, some: Mask
) -> tuple[FloatArray, Mask]:
    """Return errors as parts of the time left, and whether intervals held."""
    plan = found.plan
    end = now + 3652.0
    on, early, late = (
        np.where(np.isnan(v), np.inf, v)[some]
        for v in (plan.on, plan.earliest, plan.latest)
    )
    late = np.where(late >= end - 1, np.inf, late)
    real = true[some]
    left = np.minimum(real, end) - now
    error = (np.minimum(on, end) - np.minimum(real, end)) / np.maximum(left, 1)
    return error, (np.minimum(early, end) <= real) & (real <= late)


def open_sets() -> None:
    """Print how forecasts turned out on every open set."""
    data = folder()
    if data is None:
        print("\nno folder of open data: see tests/open_data.py")
        return
    print("\nopen data, a cycle a day, drop alarms (isolated dips are no drops)")
    for name, file in FILES.items():
        open_alarms(name, histories(cells(data / file), 1.0, OPEN_NOISE))
    for threshold in (0.2, 0.3):
        print(f"\nopen data, crossing of {threshold:.0%} forecast at 60 % of the way")
        for pace, noise in cases():
            outcomes = {
                name: forecast_part_way(cells(data / file), threshold, 0.6, pace, noise)
                for name, file in FILES.items()
            }
            print(f" a cycle is {pace} d, noise {noise:.1%}")
            for name, one in outcomes.items():
                line(f"  {name}", one.error, one.inside)
            line(
                "  all",
                np.concatenate([one.error for one in outcomes.values()]),
                np.concatenate([one.inside for one in outcomes.values()]),
            )


def open_alarms(name: str, known: Histories) -> None:
    """Print the drop alarms raised on one open set."""
    days = np.arange(known.day.min(), known.day.max() + 1, OPEN_STEP, dtype=np.int64)
    confirmed, _ = by_analysis(Watched(known, days, [[] for _ in known.pack_ids]))
    count = sum(len(mine) for mine in confirmed)
    last = known.day[known.offsets[1:] - 1] - known.day[known.offsets[:-1]]
    print(f"  {name:12}{len(known):4d} cells {last.sum() / 365.25:6.1f} years", end="")
    print(f"  {count} alarms")


def cases() -> Iterator[tuple[float, float]]:
    """Yield paces [d a cycle] and noises [fraction of design]."""
    for pace in (0.5, 1.0, 2.0):
        for noise in (0.0, 0.01):
            yield pace, noise


def line(name: str, error: FloatArray, inside: Mask) -> None:
    """Print one line of a table."""
    if error.size:
        middle, bias = np.median(np.abs(error)), np.median(error)
        print(
            f"{name:20}{error.size:5d}  median error {middle:5.1%}  bias {bias:+6.1%}"
            f"  in the 80 % interval {inside.mean():4.0%}"
        )


if __name__ == "__main__":
    main()
