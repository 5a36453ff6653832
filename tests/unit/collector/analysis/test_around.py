import numpy as np
import pytest
from numpy.typing import ArrayLike

from fadewatch_collector.analysis.around import look_around, rate_before
from fadewatch_collector.analysis.cleaning import Batch, prepare
from tests.unit.collector.analysis.made import histories, straight


def batch_of(health: ArrayLike) -> Batch:
    known = histories(health)
    return prepare(known, known.day[-1:])


def test_levels_before_and_after_a_step_are_those_of_either_side() -> None:
    step = np.where(np.arange(80) < 50, 0.9, 0.7)
    health = step + 0.001 * (np.arange(80) % 3)
    around = look_around(batch_of(health))
    assert around.before[0, 50] == pytest.approx(0.901, abs=0.002)
    assert around.landed[0, 50] == pytest.approx(0.701, abs=0.002)
    assert around.left[50] == 30


def test_capacity_that_comes_back_after_a_rest_hardly_lifts_the_level_before() -> None:
    health = 0.9 + 0.001 * (np.arange(90) % 3)
    health[45:60] += 0.04
    around = look_around(batch_of(health))
    assert around.before[0, 60] == pytest.approx(0.911, abs=0.002)


def test_a_held_value_counts_from_the_day_it_was_first_shown() -> None:
    health = np.concatenate((straight(30, 0.03), np.full(40, 0.95), np.full(10, 0.8)))
    around = look_around(batch_of(health))
    assert around.held[0, 70] == pytest.approx(40)
    assert not around.held[0, 71:].any()


def test_a_false_cliff_does_not_end_a_hold() -> None:
    health = np.concatenate((straight(30, 0.03), np.full(50, 0.95), np.full(10, 0.8)))
    health[60:64] -= 0.07
    around = look_around(batch_of(health))
    assert around.held[0, 80] == pytest.approx(50)


def test_the_rate_before_is_the_loss_a_day() -> None:
    batch = batch_of(straight(120, 0.03))
    rate = rate_before(batch, look_around(batch), (40,))
    assert rate[0, -1] == pytest.approx(0.03 / 30.4375, rel=0.02)
