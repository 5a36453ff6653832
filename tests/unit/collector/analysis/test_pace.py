import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.pace import believed, recent_pace

BINS = 24
TIME = (np.arange(BINS) + 0.5) / BINS


def pace_of(
    seen: FloatArray, noise: float = 0.005, span: float = 365.0
) -> tuple[float, float]:
    count = np.where(np.isnan(seen), 0.0, 10.0)[None, :]
    found = recent_pace(seen[None, :], count, np.array([noise]), np.array([span]))
    return float(found.rate[0]), float(found.deviation[0])


def test_a_straight_course_has_its_own_rate() -> None:
    assert pace_of(0.02 + 0.1 * TIME)[0] == pytest.approx(0.1, rel=1e-6)


def test_empty_bins_change_nothing_on_a_straight_course() -> None:
    seen = 0.02 + 0.1 * TIME
    seen[[3, 4, 9, 17]] = np.nan
    assert pace_of(seen)[0] == pytest.approx(0.1, rel=1e-6)


def test_two_bins_say_nothing() -> None:
    seen = np.full(BINS, np.nan)
    seen[[2, 20]] = 0.02, 0.08
    assert np.isinf(pace_of(seen)[1])


def test_one_wild_bin_at_the_end_does_not_carry_the_rate_away() -> None:
    seen = 0.02 + 0.1 * TIME
    seen[-1] += 0.05
    assert pace_of(seen)[0] < 0.2


def test_after_a_clear_knee_the_rate_is_that_after_it() -> None:
    seen = 0.02 + 0.05 * TIME + 0.4 * np.maximum(TIME - 0.7, 0.0)
    assert pace_of(seen)[0] == pytest.approx(0.45, rel=0.1)


def test_capacity_that_comes_back_after_rests_does_not_hide_the_long_run() -> None:
    # Teeth of four bins: each loses four times the long run, then 3 % comes back.
    saw = 0.02 + 0.24 * TIME - 0.04 * np.floor(6 * TIME) + 0.06 * TIME
    assert pace_of(saw)[0] < 0.2
    smooth = 0.02 + 0.06 * TIME + 0.24 * np.maximum(TIME - 5 / 6, 0.0)
    assert pace_of(smooth)[0] > pace_of(0.02 + 0.06 * TIME)[0]


def test_a_held_value_is_less_sure_than_one_that_moves() -> None:
    moving = 0.02 + 0.06 * TIME
    held = np.where(TIME < 0.5, 0.03, 0.06)
    assert pace_of(held)[1] > 2.0 * pace_of(moving)[1]


def belief(rate: float, deviation: float, spread: float) -> tuple[float, float]:
    found = believed(*(np.array([v]) for v in (rate, deviation, 1.0, spread)))
    return float(found.rate[0]), float(found.spread[0])


def test_without_a_rate_of_its_own_a_pack_has_the_usual_one() -> None:
    assert belief(0.0, np.inf, 0.5)[0] == pytest.approx(1.0, rel=1e-6)


def test_a_sure_rate_far_from_the_usual_is_believed() -> None:
    assert belief(8.0, 0.4, 0.5)[0] == pytest.approx(8.0, rel=0.03)


# Worked: log-normal prior about 1 with a narrow spread, normal own rate about 1.2. To
# first order in the spreads the mean is weighed by precision: prior 1 / 0.1^2 (about
# 4/3 of it for Student's t with 3 degrees of freedom at its middle), own 1 / 0.1^2.
def test_a_rate_as_sure_as_the_usual_is_met_about_halfway() -> None:
    rate, spread = belief(1.2, 0.1, 0.1)
    assert 1.05 < rate < 1.15
    assert 0.06 < spread < 0.12


@given(
    rate=st.floats(-10.0, 10.0),
    deviation=st.floats(1e-4, 100.0),
    spread=st.floats(0.25, 1.5),
)
def test_belief_is_always_a_positive_rate(
    rate: float, deviation: float, spread: float
) -> None:
    middle, doubt = belief(rate, deviation, spread)
    assert middle > 0
    assert np.isfinite(middle)
    assert doubt >= 0
