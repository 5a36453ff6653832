import numpy as np
import pytest

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.figures import BANDS, GAUGES
from fadewatch_collector.analysis.series import Histories
from tests.unit.collector.analysis.made import (
    FIRST_DAY,
    histories,
    noise,
    on_last_day,
    straight,
)


def gauge_of(health: FloatArray) -> str:
    return GAUGES[int(on_last_day(histories(health)).gauge[0])]


def test_a_gauge_that_moves_every_day_is_good() -> None:
    assert gauge_of(straight(200) + noise(200)) == "good"


@pytest.mark.parametrize(("held", "said"), [(30, "good"), (59, "good"), (75, "stale")])
def test_a_value_held_for_two_months_is_stale(held: int, said: str) -> None:
    health = np.concatenate((straight(100) + noise(100), np.full(held, 0.93)))
    assert gauge_of(health) == said


def test_a_stale_gauge_says_since_when() -> None:
    health = np.concatenate((straight(100) + noise(100), np.full(90, 0.93)))
    assert on_last_day(histories(health)).gauge_since[0] == FIRST_DAY + 100


def test_full_equal_to_design_for_months_is_frozen_and_says_nothing_of_wear() -> None:
    found = on_last_day(histories(np.ones(120)))
    assert GAUGES[found.gauge[0]] == "frozen"
    assert BANDS[found.band[0]] == "unknown"
    assert np.isnan(found.fade.estimate[0])
    assert np.isnan(found.plan.on[0])


def test_a_new_pack_at_its_design_capacity_is_not_yet_frozen() -> None:
    assert gauge_of(np.ones(40)) == "good"


def test_cycles_that_leave_full_at_design_show_a_frozen_gauge_sooner() -> None:
    known = Histories.from_rows(
        ["a"],
        pack=[0] * 40,
        day=np.arange(40) + FIRST_DAY,
        full=[50.0] * 40,
        design=[50.0] * 40,
        cycles=np.arange(40.0),
    )
    assert GAUGES[on_last_day(known).gauge[0]] == "frozen"


def test_scatter_of_some_percent_is_noisy() -> None:
    assert gauge_of(straight(200, start=0.9) + noise(200, 0.04)) == "noisy"


def test_many_impossible_values_are_implausible() -> None:
    health = straight(100) + noise(100)
    health[70::3] = 0.0
    assert gauge_of(health) == "implausible"


def test_a_single_impossible_value_is_not_held_against_a_gauge() -> None:
    health = straight(100) + noise(100)
    health[95] = 0.0
    assert gauge_of(health) == "good"
