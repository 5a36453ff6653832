import numpy as np
import pytest

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.cleaning import prepare
from fadewatch_collector.analysis.evidence import Evidence, Fall, weigh
from tests.unit.collector.analysis.made import histories, noise

ON = 60


def stepped(size: float, days: int = 80) -> FloatArray:
    health = 0.95 + noise(days, 0.005)
    health[ON:] -= size
    return health


def evidence_of(health: FloatArray, size: float, held: float = 0.0) -> Evidence:
    known = histories(health)
    batch = prepare(known, known.day[-1:])
    single = [np.array([v], dtype=np.float32) for v in (0.95, size, held, 0.0)]
    return weigh(batch, Fall(np.array([ON]), *single))


def test_the_size_is_measured_again_from_all_readings() -> None:
    evidence = evidence_of(stepped(0.12), size=0.105)
    assert evidence.size[0] == pytest.approx(0.12, abs=0.004)
    assert evidence.enough[0]


def test_readings_and_days_count_while_the_fall_lasts() -> None:
    health = stepped(0.12)
    evidence = evidence_of(health, size=0.12)
    assert (evidence.readings[0], evidence.days[0]) == (20, 19)
    health[ON + 6 :] += 0.12
    evidence = evidence_of(health, size=0.12)
    assert (evidence.readings[0], evidence.days[0]) == (6, 5)


def test_one_reading_back_up_breaks_the_run_at_once() -> None:
    # Cleaning takes the newest such reading for a spike; the run must not.
    health = stepped(0.12, ON + 6)
    health[-1] += 0.12
    assert evidence_of(health, size=0.12).readings[0] == 5


def test_a_dip_of_seven_percent_is_not_enough() -> None:
    assert not evidence_of(stepped(0.07), size=0.075).enough[0]


def test_a_fall_that_a_wandering_level_may_show_is_not_enough() -> None:
    before = 0.95 + noise(80, 0.005, seed=2)
    calm = np.concatenate((before, stepped(0.09)))
    wander = np.zeros(calm.size)
    for start in range(5, 80 + ON - 30, 30):
        wander[start : start + 15] = 0.03
    assert _enough(calm, 0.09)
    assert not _enough(calm + wander, 0.09)


def _enough(health: FloatArray, size: float) -> bool:
    known = histories(health)
    batch = prepare(known, known.day[-1:])
    single = [np.array([v], dtype=np.float32) for v in (0.95, size, 0.0, 0.0)]
    return bool(weigh(batch, Fall(np.array([80 + ON]), *single)).enough[0])


@pytest.mark.parametrize(
    ("size", "held", "enough"),
    [(0.10, 20, True), (0.10, 90, False), (0.16, 90, True), (0.16, 270, False)],
)
def test_the_longer_a_gauge_held_the_more_must_be_lost(
    size: float, held: float, enough: bool
) -> None:
    assert evidence_of(stepped(size), size, held).enough[0] == enough
