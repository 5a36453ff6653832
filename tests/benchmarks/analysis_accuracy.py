"""Measure how right the analysis is, on simulated fleets and on open data.

Run from the repository's root:
``python -m tests.benchmarks.analysis_accuracy [packs] [first seed]``. No curve is fitted
to a data set, but the settings were chosen with these open sets in view: their figures
here are not those of sets left out, which ``... analysis_accuracy left-out`` prints.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.analysis.arrays import FloatArray, Mask
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.cleaning import prepare
from fadewatch_collector.analysis.drops import find_drops
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.priors import fleet_priors
from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.simulation.fleet import OFFICE, Fleet
from fadewatch_collector.simulation.histories import simulate
from fadewatch_collector.simulation.truth import Phenomenon
from tests.benchmarks import analysis_left_out
from tests.open_data import FILES, cells, folder, forecast_part_way, histories

EPOCH = date(1970, 1, 1)
END = date(2026, 6, 30)
FOUND_WITHIN = 14
LEAST_SIZE = 8.0
MERGED_DAYS = 20
READINGS_AFTER, READINGS_BEFORE = 4, 5
FLEETS = 2
MIXES = {
    "mixed office": OFFICE,
    "gauges that move daily": replace(OFFICE, stale=0.0, occasional=0.0),
    "half the noise": replace(OFFICE, noise=0.005),
    "half more noise": replace(OFFICE, noise=0.015),
    "twice as many stale gauges": replace(OFFICE, stale=0.3),
    "thrice the dips and false cliffs": replace(
        OFFICE, dips_a_year=0.3, false_cliffs_a_year=0.45
    ),
}
OPEN_STEP = 3
OPEN_NOISE = 0.01


@dataclass(slots=True)
class Alarms:
    """Alarms raised, and which drops there were, over some fleets."""

    years: float = 0.0
    there: int = 0
    delays: list[int] = field(default_factory=list)
    false: int = 0
    by_gauge: dict[str, list[int]] = field(default_factory=dict)


def main() -> None:
    """Print all tables."""
    if sys.argv[1:] == ["left-out"]:
        analysis_left_out.main()
        return
    packs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 100
    for number in range(seed, seed + FLEETS):
        crossings(simulate(packs, end=END, seed=number), number)
    for name, mix in MIXES.items():
        alarms = Alarms()
        for number in range(seed, seed + FLEETS):
            watch(simulate(packs, end=END, seed=number, mix=mix), alarms)
        print(f"\nfleet: {name}")
        show(alarms)
    open_sets()


def as_histories(fleet: Fleet) -> Histories:
    """Lay a simulated fleet out as histories."""
    here = ~np.isnan(fleet.full_charge_capacity)
    pack, column = np.nonzero(here)
    return Histories.from_rows(
        fleet.pack_ids,
        pack=pack,
        day=fleet.days.astype("datetime64[D]").astype(np.int64)[column],
        full=fleet.full_charge_capacity[here],
        design=fleet.design_capacity[here],
        cycles=fleet.cycle_count[here],
    )


def watch(fleet: Fleet, alarms: Alarms) -> None:
    """Watch a fleet day by day and count alarms that are new."""
    known = as_histories(fleet)
    days = fleet.days.astype("datetime64[D]").astype(np.int64)
    raised = raise_alarms(known, days)
    alarms.years += len(known) * days.size / 365.25
    for place, mine in enumerate(raised):
        judge(fleet, known.one(place), place, mine, alarms)


def raise_alarms(
    known: Histories, days: NDArray[np.int64]
) -> list[list[tuple[int, float]]]:
    """Return the days of each pack's new alarms, and of the drops they told."""
    raised: list[list[tuple[int, float]]] = [[] for _ in known.pack_ids]
    active = np.full(len(known), np.nan)
    for day in days:
        drops = find_drops(prepare(known, np.full(len(known), day, dtype=np.int32)))
        on = np.where(drops.confirmed, drops.on, np.nan)
        same = np.abs(on - active) <= MERGED_DAYS
        for index in np.flatnonzero(~np.isnan(on) & ~same):
            raised[index].append((int(day), float(on[index])))
        active = on
    return raised


def judge(
    fleet: Fleet,
    history: Histories,
    index: int,
    raised: list[tuple[int, float]],
    alarms: Alarms,
) -> None:
    """Match one pack's alarms with its real drops."""
    truth = fleet.truths[index]
    stale = Phenomenon.LONG_STALE in truth.phenomena
    steps = Phenomenon.LEARNING_STEPS in truth.phenomena
    kind = "long stale" if stale else "learns in steps" if steps else "live"
    counts = alarms.by_gauge.setdefault(kind, [0, 0, 0])
    real = []
    for drop in truth.drops:
        began = (drop.on - EPOCH).days
        shown = (drop.shown_on - EPOCH).days if drop.shown_on else None
        real.append((began, shown if shown is not None else began))
        if (
            shown is None
            or drop.percent < LEAST_SIZE
            or not seen(history, began, shown)
        ):
            continue
        alarms.there += 1
        counts[0] += 1
        late = [d - shown for d, _ in raised if began <= d <= shown + FOUND_WITHIN]
        if late:
            alarms.delays.append(max(min(late), 0))
            counts[1] += 1
    false = sum(not any(b - 3 <= on <= s + 30 for b, s in real) for _, on in raised)
    alarms.false += false
    counts[2] += false


def seen(history: Histories, began: int, shown: int) -> bool:
    """Say whether there were readings enough to tell that a drop stays."""
    day = history.day
    after = np.sum((day >= shown) & (day <= shown + FOUND_WITHIN))
    return bool(after >= READINGS_AFTER and np.sum(day < began) >= READINGS_BEFORE)


def show(alarms: Alarms) -> None:
    """Print the table of alarms."""
    share = len(alarms.delays) / max(alarms.there, 1)
    print(f"\ndrops of {LEAST_SIZE:.0f} % or more: {alarms.there} in all")
    print(f"found within {FOUND_WITHIN} days: {share:.1%}, ", end="")
    print(f"median {np.median(alarms.delays):.0f} days")
    print(f"false alarms a 1,000 pack-years: {1000 * alarms.false / alarms.years:.1f}")
    for kind, (there, found, false) in sorted(alarms.by_gauge.items()):
        print(f"  gauge {kind}: found {found} of {there}, false {false}")


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
    count = sum(len(mine) for mine in raise_alarms(known, days))
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
