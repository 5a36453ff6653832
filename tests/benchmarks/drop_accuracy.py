"""Measure how early and how rightly drops are told, beside the plain rules.

Run from the repository's root:
``python -m tests.benchmarks.drop_accuracy [packs] [first seed] [fleet ...]``. Two fleets
each, of two kinds: the project's simulator, made harder than most fleets, and
`plain_fleet`, on which the plain rules score about as on the fleet for which the targets
were stated.
"""

import sys
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date

import numpy as np

from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.simulation.fleet import OFFICE, Fleet, Mix
from fadewatch_collector.simulation.histories import simulate
from fadewatch_collector.simulation.truth import PackTruth, Phenomenon
from tests.benchmarks.drop_judge import (
    FOUND_WITHIN,
    LEAST_SIZE,
    Alarms,
    Fall,
    Raised,
    Watched,
    between_two,
    by_analysis,
    judge,
    medians_of_five,
)
from tests.benchmarks.plain_fleet import Plain, plain_fleet

EPOCH = date(1970, 1, 1)
END = date(2026, 6, 30)
FLEETS = 2
Make = Callable[[int, int], Watched]


def main() -> None:
    """Print one table a fleet."""
    packs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 100
    chosen = sys.argv[3:] or list(KINDS)
    for name in chosen:
        table(name, (KINDS[name](packs, n) for n in range(seed, seed + FLEETS)))


def table(name: str, fleets: Iterable[Watched]) -> None:
    """Print what the analysis and the plain rules make of some fleets."""
    found: dict[str, Alarms] = {}
    for fleet in fleets:
        for rule, raised in alarms_on(fleet).items():
            judge(fleet, raised, found.setdefault(rule, Alarms()))
    there = next(iter(found.values()))
    print(f"\n{name}: {there.there} drops of {LEAST_SIZE:.0%} or more, ", end="")
    print(f"{there.years:,.0f} pack-years")
    for rule, alarms in found.items():
        show(rule, alarms)


def alarms_on(fleet: Watched) -> dict[str, Raised]:
    """Return the alarms of every rule."""
    confirmed, said = by_analysis(fleet)
    return {
        "5 % between two readings": between_two(fleet),
        "medians of five, 5 %": medians_of_five(fleet, 0.05),
        "medians of five, 8 %": medians_of_five(fleet, 0.08),
        "the analysis, confirmed": confirmed,
        "the analysis, as first said": said,
    }


def show(rule: str, alarms: Alarms) -> None:
    """Print one line, and one more where the gauges are known."""
    share = len(alarms.delays) / max(alarms.there, 1)
    middle = np.median(alarms.delays) if alarms.delays else np.nan
    false = 1000 * alarms.false / alarms.years
    print(f"  {rule:28} found within {FOUND_WITHIN} days {share:6.1%}", end="")
    print(f", median {middle:.0f} d, false {false:6.1f} (of them again {alarms.again})")
    if len(alarms.by_kind) > 1:
        kinds = (
            f"{kind} {found} of {there}, false {wrong}"
            for kind, (there, found, wrong) in sorted(alarms.by_kind.items())
        )
        print(f"    {'; '.join(kinds)}")


def simulated(packs: int, seed: int, mix: Mix = OFFICE) -> Watched:
    """Make a fleet by the project's simulator."""
    fleet = simulate(packs, end=END, seed=seed, mix=mix)
    return Watched(
        as_histories(fleet),
        fleet.days.astype("datetime64[D]").astype(np.int64),
        [_falls(truth) for truth in fleet.truths],
        [_kind(truth) for truth in fleet.truths],
    )


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


def _falls(truth: PackTruth) -> list[Fall]:
    return [
        Fall(
            (drop.on - EPOCH).days,
            (drop.shown_on - EPOCH).days if drop.shown_on else None,
            drop.percent / 100,
        )
        for drop in truth.drops
    ]


def _kind(truth: PackTruth) -> str:
    if Phenomenon.LONG_STALE in truth.phenomena:
        return "long stale"
    return "steps" if Phenomenon.LEARNING_STEPS in truth.phenomena else "live"


def _mixed(mix: Mix) -> Make:
    return lambda packs, seed: simulated(packs, seed, mix)


def _plain(rates: Plain) -> Make:
    return lambda packs, seed: plain_fleet(packs, seed, rates)


KINDS: dict[str, Make] = {
    "plain": _plain(Plain()),
    "plain, noise 1.3 %": _plain(Plain(noise=0.013)),
    "plain, more steps and limits": _plain(Plain(stepwise=0.4, limited=0.5)),
    "office": _mixed(OFFICE),
    "office, daily gauges": _mixed(replace(OFFICE, stale=0.0, occasional=0.0)),
    "office, half the noise": _mixed(replace(OFFICE, noise=0.005)),
    "office, half more noise": _mixed(replace(OFFICE, noise=0.015)),
    "office, twice as many stale": _mixed(replace(OFFICE, stale=0.3)),
    "office, thrice dips and cliffs": _mixed(
        replace(OFFICE, dips_a_year=0.3, false_cliffs_a_year=0.45)
    ),
}


if __name__ == "__main__":
    main()
