"""Measure how far forecast errors of a fleet, and of a pack type, go together.

    python -m tests.benchmarks.shared_errors [--packs 500] [--fleets 8] [--seed 9500]

On simulated fleets whose truth is known, each pack's true crossing of 30 % is placed in
its forecast [standard deviations]. Of the mean square of these places, the part that the
mean of all makes up (the same error for every pack, which a fleet cannot see) and the
part between fleets are the fleet's share; the part between types within fleets is the
type's share, after what chance would make of groups so small is taken off.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.crossing_draws import NORMAL_QUANTILE_90
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.priors import fleet_priors
from fadewatch_collector.simulation.fleet import Fleet
from fadewatch_collector.simulation.histories import simulate
from tests.benchmarks.drop_accuracy import END, EPOCH, as_histories

WIDEST = 3.0
"""Places beyond it count as if on it: crossings past ten years have none [deviation]."""
LEAST_PACKS = 4
"""Packs of a type that make a group [count]."""


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Where the truth lies in each forecast of one fleet, with the pack's type."""

    place: FloatArray
    kind: CountArray


def placed(fleet: Fleet) -> Placed:
    """Place the truth of every pack whose crossing lies ahead."""
    known, now = as_histories(fleet), (END - EPOCH).days
    limits = Thresholds(0.3, 0.6)
    first = assess(known, now, limits)
    found = assess(known, now, limits, fleet_priors(first, fleet.pack_types))
    true = np.array([_day(t.crossings[1]) for t in fleet.truths])
    plain = np.array([not t.swaps and not t.drops for t in fleet.truths])
    some = plain & (true > now) & ~np.isnan(found.plan.on) & (found.plan.on > now)
    _, kind = np.unique(fleet.pack_types, return_inverse=True)
    return Placed(_place(found, true, now)[some], kind[some])


def _day(crossed: date | None) -> float:
    return float("inf") if crossed is None else float((crossed - EPOCH).days)


def _place(found: Assessments, true: FloatArray, now: int) -> FloatArray:
    plan = found.plan
    with np.errstate(divide="ignore", invalid="ignore"):
        early, on, late, real = (
            np.log(np.maximum(day - now, 0.5))
            for day in (plan.earliest, plan.on, plan.latest, true)
        )
        spread = np.where(real < on, on - early, late - on) / NORMAL_QUANTILE_90
        return np.clip((real - on) / spread, -WIDEST, WIDEST)


def shares(fleets: Sequence[Placed]) -> tuple[float, float]:
    """Return the shares of the fleet and of the type."""
    square = float(np.mean(np.concatenate([one.place for one in fleets]) ** 2))
    means = np.array([one.place.mean() for one in fleets])
    by_type = [_between_types(one) for one in fleets]
    return float(np.mean(means**2)) / square, float(np.mean(by_type)) / square


def _between_types(fleet: Placed) -> float:
    """Return the variance between types of one fleet, without what chance makes."""
    groups = [fleet.place[fleet.kind == kind] for kind in np.unique(fleet.kind)]
    groups = [one for one in groups if one.size >= LEAST_PACKS]
    chance = np.mean([one.var(ddof=1) / one.size for one in groups])
    between = np.var([one.mean() for one in groups], ddof=1)
    return float(between - chance)


def main() -> None:
    """Print both shares."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--packs", type=int, default=500)
    parser.add_argument("--fleets", type=int, default=8)
    parser.add_argument("--seed", type=int, default=9500)
    given = parser.parse_args()
    fleets = []
    for seed in range(given.seed, given.seed + given.fleets):
        one = placed(simulate(given.packs, end=END, seed=seed))
        fleets.append(one)
        print(f"fleet {seed}: {one.place.size} packs, mean {one.place.mean():+.2f}")
    fleet, kind = shares(fleets)
    print(f"share of the fleet {fleet:.2f}, of the type {kind:.2f}")


if __name__ == "__main__":
    main()
