import numpy as np
import pytest

from fadewatch_collector.analysis.around import look_around, rate_before
from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.cleaning import prepare
from fadewatch_collector.analysis.falls import Falls, find_falls
from tests.unit.collector.analysis.made import histories, noise, straight


def falls_of(health: FloatArray) -> Falls:
    known = histories(health)
    batch = prepare(known, known.day[-1:])
    around = look_around(batch)
    return find_falls(batch, around, rate_before(batch, around, (40,)))


def test_a_step_stands_as_a_fall_where_it_happened() -> None:
    health = straight(120, 0.01) + noise(120, 0.005)
    health[80:] -= 0.15
    falls = falls_of(health)
    assert set(np.flatnonzero(falls.stands[0])) <= {79, 80, 81}
    assert falls.size[0, 80] == pytest.approx(0.15, abs=0.01)


def test_what_came_back_does_not_stand() -> None:
    health = straight(120, 0.01) + noise(120, 0.005)
    health[80:100] -= 0.15
    assert not falls_of(health).stands.any()


def test_a_slope_of_any_length_does_not_stand() -> None:
    health = np.concatenate((straight(60, 0.01, 0.95), 0.93 - 0.008 * np.arange(40)))
    assert not falls_of(health).stands.any()
