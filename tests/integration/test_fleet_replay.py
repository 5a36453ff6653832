"""A small fleet in care, replayed through the API: alerts stay few and swaps true.

The same with 500 laptops over two years is ``python -m tests.benchmarks.fleet_replay``.
"""

from datetime import date

import pytest

from fadewatch_collector.simulation.care.fleet import care_fleet
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.replay import replay
from tests.replay_score import score

LAPTOPS, DAYS = 30, 240
SEED = 7
"""Of a draw with many swaps for its size, by packs with and without an identity."""


@pytest.mark.timeout(180)  # on a machine that does much else
async def test_a_fleet_is_followed_through_its_swaps_without_noise(
    services: Services, clock: StandingClock
) -> None:
    fleet = care_fleet(LAPTOPS, days=DAYS, start=date(2024, 1, 1), seed=SEED)

    for laptop in fleet.laptops:
        # Fewer and larger deliveries: the same reports in a third of the time.
        laptop.every = max(laptop.every, 4)

    seen = await replay(services, clock, fleet, seed=SEED, step_days=4)
    result = await score(services, fleet, seen)

    assert result.firm.planted >= 5
    assert result.weak.planted >= 5
    assert seen.most_of_a_kind == 1
    assert result.flaps == []
    assert result.firm.missed == []
    assert result.weak.missed == []
    assert result.invented == []
    assert result.wrong_missed == []
    assert result.right_named_wrong == []
