import numpy as np
import pytest
import ruptures

from fadewatch_collector.analysis.arrays import FloatArray
from tests.unit.collector.analysis.made import (
    FIRST_DAY,
    histories,
    noise,
    on_last_day,
    straight,
)

MONTH = 30.4375


def bent(
    before: float, after: float, on: int = 400, days: int = 600, spread: float = 0.005
) -> FloatArray:
    first = straight(on, before, 1.0)
    second = straight(days - on, after, 1.0 - before * on / MONTH)
    return np.concatenate((first, second)) + noise(days, spread)


@pytest.mark.parametrize("factor", [3.0, 5.0, 8.0])
def test_a_knee_is_found_with_both_rates(factor: float) -> None:
    knee = on_last_day(histories(bent(0.004, 0.004 * factor))).knee
    assert knee.on[0] == pytest.approx(FIRST_DAY + 400, abs=30)
    assert MONTH * knee.before[0] == pytest.approx(0.004, abs=0.0015)
    assert MONTH * knee.after[0] == pytest.approx(0.004 * factor, rel=0.2)


def test_the_knee_lies_where_a_change_point_library_puts_it() -> None:
    health = bent(0.004, 0.03)
    ours = on_last_day(histories(health)).knee.on[0] - FIRST_DAY
    theirs = ruptures.Dynp(model="clinear", jump=10).fit(health[::5])
    assert ours == pytest.approx(5 * theirs.predict(n_bkps=1)[0], abs=30)


@pytest.mark.parametrize("a_month", [0.0, 0.005, 0.02])
def test_straight_fade_has_no_knee(a_month: float) -> None:
    rows = [straight(400, a_month) + noise(400, 0.01, seed) for seed in range(20)]
    assert np.isnan(on_last_day(histories(*rows)).knee.on).all()


def test_fade_that_slows_down_has_no_knee() -> None:
    health = 1.0 - 0.02 * np.sqrt(np.arange(500) / 100) + noise(500, 0.004)
    assert np.isnan(on_last_day(histories(health)).knee.on[0])


def test_a_sudden_drop_is_not_taken_for_a_knee() -> None:
    health = straight(300, 0.006) + noise(300, 0.006)
    health[200:] -= 0.15
    found = on_last_day(histories(health))
    assert found.drop.confirmed[0]
    assert np.isnan(found.knee.on[0])


def test_a_short_history_has_no_knee() -> None:
    assert np.isnan(on_last_day(histories(bent(0.01, 0.08, 5, 9))).knee.on[0])
