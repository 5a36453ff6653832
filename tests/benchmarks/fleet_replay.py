"""Replay 500 laptops over two years through the API and print how it went.

Run ``python -m tests.benchmarks.fleet_replay``; it takes some 10 to 20 minutes.
"""

import argparse
import asyncio
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from datetime import date
from pathlib import Path

from fadewatch_collector.settings import Settings
from fadewatch_collector.simulation.care.fleet import CareFleet, care_fleet
from fadewatch_collector.simulation.care.plan import PlantedSwap
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import open_store
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.fakes.clock import StandingClock
from tests.replay import Replayed, replay
from tests.replay_score import Score, Tally, score

START = date(2024, 1, 1)


def main() -> None:
    """Read the options and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--laptops", type=int, default=500)
    parser.add_argument("--days", type=int, default=730)
    parser.add_argument("--step-days", type=int, default=7)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="keep the store there")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.folder or Path(temporary)
        asyncio.run(_run(options, folder))


async def _run(options: argparse.Namespace, folder: Path) -> None:
    clock = StandingClock()
    settings = Settings(data_folder=folder)
    store = open_store(settings.store_url)
    await upgrade(store)
    services = Services(store, settings, DEFAULT_POLICY, clock)
    fleet = care_fleet(
        options.laptops, days=options.days, start=START, seed=options.seed
    )
    began = time.perf_counter()
    seen = await replay(
        services, clock, fleet, seed=options.seed, step_days=options.step_days
    )
    took = time.perf_counter() - began
    _show(fleet, seen, await score(services, fleet, seen), took)
    await store.close()


def _show(fleet: CareFleet, seen: Replayed, result: Score, took: float) -> None:
    print(
        f"{len(fleet.laptops)} laptops, {fleet.days} days, {len(fleet.packs)} packs: "
        f"{seen.reports} reports in {seen.requests} requests, {took:.0f} s"
    )
    print(f"most open alerts of one kind and pack: {seen.most_of_a_kind}")
    print("alerts opened:", dict(result.opened.most_common()))
    print("came back within 30 days:", dict(+result.returns))
    _list("more than once within 30 days", result.flaps)
    _show_swaps("identities of their own", result.firm)
    _show_swaps("weak identities", result.weak)
    _list("swaps invented", result.invented)
    print(f"wrong packs named: {result.wrong_named}")
    _list("wrong packs not named", result.wrong_missed)
    _list("right packs called wrong", result.right_named_wrong)


def _show_swaps(name: str, tally: Tally) -> None:
    fits = Counter(swap.fit.name for swap in tally.missed)
    print(
        f"swaps, {name}: {tally.planted} planted, {tally.found} found "
        f"({tally.late} placed late), not found: {dict(fits)}"
    )
    for swap in tally.missed:
        _show_missed(swap)


def _show_missed(swap: PlantedSwap) -> None:
    print(
        f"    missed: laptop {swap.laptop} {swap.slot}, day {swap.last_before} to "
        f"{swap.first_after}: {swap.fit}"
    )


def _list(name: str, found: Iterable[object]) -> None:
    listed = list(found)
    print(f"{name}: {len(listed)}")
    for one in listed:
        print("   ", one)


if __name__ == "__main__":
    main()
