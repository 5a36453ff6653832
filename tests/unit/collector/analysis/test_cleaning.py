import numpy as np
import pytest
from numpy.typing import ArrayLike

from fadewatch_collector.analysis.cleaning import LEAST_NOISE, Batch, prepare
from fadewatch_collector.analysis.series import Histories
from tests.unit.collector.analysis.made import FIRST_DAY, histories, noise, straight


def prepared(*health: ArrayLike, until: int = 10_000) -> Batch:
    known = histories(*health)
    return prepare(known, np.full(len(known), FIRST_DAY + until, dtype=np.int32))


@pytest.mark.parametrize(
    "nonsense", [0.0, 0.089, 1.3107, -0.2, np.inf, -np.inf, np.nan, 0.55]
)
def test_one_day_of_nonsense_leaves_no_trace(nonsense: float) -> None:
    health = straight(60, start=0.9)
    spoilt = health.copy()
    spoilt[30] = nonsense
    cleaned = prepared(spoilt).health
    kept = cleaned[0, -59:]
    assert np.abs(kept - health[-59:]).max() < 0.002


def test_readings_after_the_day_are_not_there() -> None:
    batch = prepared(straight(60), until=20)
    assert batch.count.tolist() == [21]
    assert batch.day.max() == FIRST_DAY + 20


def test_packs_of_different_length_end_in_the_last_column() -> None:
    batch = prepared(np.full(40, 0.9), np.full(3, 0.8))
    assert batch.raw[:, -1].tolist() == pytest.approx([0.9, 0.8])
    assert batch.real.sum(axis=1).tolist() == [40, 3]
    assert batch.raw[1, 0] == pytest.approx(0.8)


@pytest.mark.parametrize("spread", [0.004, 0.01, 0.02])
def test_noise_is_measured_from_day_to_day(spread: float) -> None:
    health = straight(400, start=0.95) + noise(400, spread)
    assert prepared(health).noise[0] == pytest.approx(spread, rel=0.15)


def test_a_gauge_that_holds_its_value_is_not_taken_for_quiet() -> None:
    learnt = 0.9 + noise(20, 0.01)
    held = prepared(np.repeat(learnt, 10)).noise[0]
    assert 0.004 < held < 0.02


def test_noise_has_a_floor() -> None:
    assert prepared(straight(50)).noise[0] == LEAST_NOISE


def test_a_few_readings_years_before_the_rest_come_from_a_wrong_clock() -> None:
    day = [16_000, 16_001, *range(20_000, 20_040)]
    known = Histories.from_rows(
        ["a"], pack=[0] * 42, day=day, full=[90.0] * 42, design=[100.0] * 42
    )
    batch = prepare(known, np.array([20_039], dtype=np.int32))
    assert batch.count.tolist() == [40]
    assert batch.day.min() == 20_000


def test_a_real_history_before_a_long_silence_is_kept() -> None:
    day = [*range(19_000, 19_030), *range(20_000, 20_040)]
    known = Histories.from_rows(
        ["a"], pack=[0] * 70, day=day, full=[90.0] * 70, design=[100.0] * 70
    )
    batch = prepare(known, np.array([20_039], dtype=np.int32))
    assert batch.count.tolist() == [70]


def test_the_share_of_impossible_readings_is_of_the_newest_ones() -> None:
    health = np.full(64, 0.9)
    health[:32] = 0.0
    assert prepared(health).implausible[0] == 0.0
    assert prepared(health[::-1]).implausible[0] == 1.0
