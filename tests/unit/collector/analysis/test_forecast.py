import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import HORIZON_DAYS, Thresholds
from fadewatch_collector.analysis.forecast import LEAST_LATE, LEAST_PART, MOST_PART
from fadewatch_collector.analysis.trajectories import (
    KNEE_SHARE,
    RISING_SHARE,
    STRAIGHT_SHARE,
    UNIT_WEAR,
    stretches,
)
from tests.unit.collector.analysis.made import (
    FIRST_DAY,
    at,
    histories,
    noise,
    on_last_day,
    straight,
)

# The power-law family contains the straight line, so a straight history is forecast
# near its own line; knees that may still come make it the earlier, never the later.


def test_straight_fade_is_forecast_no_later_than_its_own_line() -> None:
    health = straight(700, 0.008, 1.0) + noise(700, 0.005)
    plan = on_last_day(histories(health)).plan
    own_line = 30 * 30.4375 / 0.8
    assert 0.6 * own_line < plan.on[0] - FIRST_DAY < 1.05 * own_line
    assert plan.latest[0] - FIRST_DAY > own_line


def test_a_knee_that_has_come_is_followed() -> None:
    health = np.concatenate((straight(400, 0.005, 1.0), straight(120, 0.035, 0.934)))
    plan = on_last_day(histories(health + noise(520, 0.005))).plan
    true = 400 + (0.3 - 0.066) / 0.035 * 30.4375
    assert plan.on[0] - FIRST_DAY == pytest.approx(true, abs=25)


# The bounds are explained, with the open data they come from, at LEAST_PART.
@settings(max_examples=60)
@given(
    a_month=st.floats(0.0, 0.04),
    first=st.floats(0.82, 1.05),
    days=st.integers(3, 900),
    power=st.floats(0.5, 1.5),
    scatter=st.sampled_from([0.0, 0.003, 0.01, 0.02]),
)
def test_a_crossing_makes_sense_beside_the_fade_rate(
    a_month: float, first: float, days: int, power: float, scatter: float
) -> None:
    age = np.linspace(0.0, 1.0, days)
    health = first - a_month * days / 30.4375 * age**power + noise(days, scatter)
    found = on_last_day(histories(np.maximum(health, 0.3)))
    for crossing, threshold in ((found.plan, 0.3), (found.replace, 0.4)):
        left = crossing.on[0] - found.last_day[0]
        if found.wear[0] > threshold - 0.005 or np.isnan(left):
            continue
        at_this_fade = (threshold - found.wear[0]) / found.fade.estimate[0]
        assert LEAST_PART - 0.01 < left / at_this_fade < MOST_PART + 0.01
        # A pack that goes on as it fades now lies inside the interval.
        latest = crossing.latest[0] - found.last_day[0]
        assert latest >= min(LEAST_LATE * at_this_fade, HORIZON_DAYS) * 0.99


def test_a_pack_with_four_readings_is_not_given_months() -> None:
    # 10.8 % worn and fading at about 0.8 % a month, it has two years at that rate.
    days = np.array([0, 1, 2, 3])
    health = np.array([0.896, 0.894, 0.893, 0.892])
    found = on_last_day(histories(health[days]))
    left = (found.plan.on[0] - found.last_day[0]) / 30.4375
    assert 8 < left < 30
    assert found.replace.on[0] > found.plan.on[0] + 60


def test_the_interval_holds_the_estimate() -> None:
    found = on_last_day(histories(straight(300, 0.01) + noise(300)))
    for crossing in (found.plan, found.replace):
        assert crossing.earliest[0] <= crossing.on[0] <= crossing.latest[0]
    assert found.plan.on[0] < found.replace.on[0]


def test_faster_fade_crosses_sooner() -> None:
    rows = [straight(300, rate, 0.95) for rate in (0.003, 0.006, 0.012, 0.024)]
    on = on_last_day(histories(*(row + noise(300) for row in rows))).plan.on
    assert np.all(np.diff(on) < 0)


@pytest.mark.parametrize("a_month", [0.006, 0.015])
def test_a_tail_of_constant_fade_moves_the_crossing_the_right_way(
    a_month: float,
) -> None:
    health = straight(300, 0.01, 1.0)
    longer = np.concatenate((health, straight(120, a_month, health[-1])))
    before = on_last_day(histories(health + noise(300))).plan.on[0]
    after = on_last_day(histories(longer + noise(420))).plan.on[0]
    assert (after > before) == (a_month < 0.01)


def test_a_threshold_already_passed_has_the_day_it_was_passed() -> None:
    health = straight(400, 0.03, 0.9)
    plan = on_last_day(histories(health)).plan
    first = FIRST_DAY + np.argmax(health <= 0.7)
    assert plan.on[0] == pytest.approx(first, abs=1)
    assert plan.earliest[0] == plan.latest[0] == plan.on[0]


def test_a_pack_that_barely_fades_crosses_not_within_ten_years() -> None:
    known = histories(straight(900, 0.0003) + noise(900, 0.003))
    assert np.isnan(on_last_day(known).replace.on[0])


def test_no_crossing_lies_beyond_ten_years() -> None:
    rows = [straight(500, rate) + noise(500) for rate in np.linspace(0.0, 0.01, 40)]
    found = on_last_day(histories(*rows))
    latest = np.nan_to_num(found.replace.latest, nan=0.0)
    assert latest.max() <= found.last_day.max() + 3653


def test_thresholds_may_differ_from_pack_to_pack() -> None:
    row = straight(300, 0.01) + noise(300)
    limits = Thresholds(np.array([0.2, 0.3]), np.array([0.4, 0.5]))
    found = assess(histories(row, row), FIRST_DAY + 299, limits)
    assert found.plan.on[0] < found.plan.on[1]


def test_a_rising_threshold_is_crossed_ever_later() -> None:
    row = straight(300, 0.01) + noise(300)
    known = histories(row)
    on = [at(known, 299, Thresholds(p, 0.9)).plan.on[0] for p in (0.15, 0.2, 0.3, 0.4)]
    assert np.all(np.diff(on) > 0)


def test_curves_rise_and_lose_a_fifth_in_one_unit() -> None:
    known = stretches()
    assert np.all(np.diff(known.reached, axis=1) >= 0)
    at_unit = known.reached[:, round(UNIT_WEAR / 0.0025)]
    assert at_unit == pytest.approx(np.ones(len(at_unit)), abs=0.02)


def test_prior_shares_make_a_whole() -> None:
    shares = [KNEE_SHARE, STRAIGHT_SHARE, RISING_SHARE]
    assert sum(shares) == pytest.approx(1.0)
