import numpy as np
import pymannkendall
import pytest
from scipy.stats import theilslopes

from fadewatch_collector.analysis.theilsen import NORMAL_QUANTILE_90, theil_sen

RNG = np.random.default_rng(11)


def series(points: int) -> tuple[np.ndarray, np.ndarray]:
    time = np.sort(RNG.uniform(0, 400, (25, points)), axis=1)
    return time, 0.9 - 0.0003 * time + RNG.normal(0, 0.01, time.shape)


@pytest.mark.parametrize("points", [4, 7, 20, 48])
def test_slopes_and_intervals_equal_scipys(points: int) -> None:
    time, value = series(points)
    ours = theil_sen(time, value)
    for i in range(len(time)):
        theirs = theilslopes(value[i], time[i], alpha=0.8)
        assert ours.estimate[i] == pytest.approx(theirs.slope, rel=1e-12)
        assert ours.low[i] == pytest.approx(theirs.low_slope, rel=1e-12)
        assert ours.high[i] == pytest.approx(theirs.high_slope, rel=1e-12)


def test_tied_values_narrow_the_interval_as_scipys() -> None:
    time, value = series(30)
    rounded = np.round(value, 2)
    ours = theil_sen(time, rounded)
    for i in range(len(time)):
        theirs = theilslopes(rounded[i], time[i], alpha=0.8)
        assert ours.low[i] == pytest.approx(theirs.low_slope, rel=1e-12)
        assert ours.high[i] == pytest.approx(theirs.high_slope, rel=1e-12)


def test_slopes_equal_those_of_a_trend_test_library() -> None:
    _, value = series(40)
    time = np.broadcast_to(np.arange(40.0), value.shape)
    ours = theil_sen(time, value)
    theirs = [pymannkendall.sens_slope(row).slope for row in value]
    assert ours.estimate == pytest.approx(np.array(theirs), rel=1e-12)


def test_unknown_points_count_for_nothing() -> None:
    time, value = series(20)
    holed = value.copy()
    holed[:, ::3] = np.nan
    ours = theil_sen(time, holed)
    for i in range(len(time)):
        known = ~np.isnan(holed[i])
        theirs = theilslopes(value[i][known], time[i][known], alpha=0.8)
        assert ours.estimate[i] == pytest.approx(theirs.slope, rel=1e-12)


def test_a_single_point_has_no_slope() -> None:
    time, value = np.array([[1.0, np.nan]]), np.array([[0.9, np.nan]])
    assert np.isnan(theil_sen(time, value).estimate).all()
    assert np.isnan(theil_sen(time[:, :1], value[:, :1]).high).all()


def test_the_default_interval_is_80_percent() -> None:
    # Standard normal tables: 90 % lies below 1.2816.
    assert pytest.approx(1.2816, abs=5e-5) == NORMAL_QUANTILE_90
