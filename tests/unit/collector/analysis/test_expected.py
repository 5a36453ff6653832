"""How many packs are expected to cross, span by span."""

import numpy as np
import pytest

from fadewatch_collector.analysis.crossing_draws import Forecasts
from fadewatch_collector.analysis.expected import expected_crossings

NOW = 20_000


def known_days(*days: float) -> Forecasts:
    on = np.array(days, dtype=float)
    return Forecasts(on, on, on, np.full(on.size, float(NOW)))


def test_days_that_are_sure_are_counted_in_their_spans_by_hand() -> None:
    forecasts = known_days(NOW + 10, NOW + 40, NOW + 41, NOW + 200, np.nan)
    groups = np.array([0, 0, 1, 1, 1])

    within, by_end = expected_crossings(
        forecasts, np.zeros(5, dtype=np.int64), groups, [NOW + 30, NOW + 60], seed=1
    )

    assert within.mean.tolist() == [[1, 1], [0, 1]]
    assert by_end.mean.tolist() == [[1, 2], [0, 1]]
    assert within.low.tolist() == within.high.tolist() == [[1, 1], [0, 1]]


def test_means_of_spans_add_up_and_the_range_of_a_sum_is_narrower_than_summed_ranges() -> (
    None
):
    rng = np.random.default_rng(3)
    on = NOW + rng.uniform(60, 700, 120)
    forecasts = Forecasts(
        NOW + (on - NOW) * 0.6, on, NOW + (on - NOW) * 1.7, np.full(120, float(NOW))
    )
    ends = [NOW + 30 * month for month in range(1, 25)]

    within, by_end = expected_crossings(
        forecasts, rng.integers(0, 4, 120), np.zeros(120, dtype=np.int64), ends, seed=5
    )

    assert within.mean.sum() == pytest.approx(by_end.mean[0, -1])
    assert by_end.high[0, -1] - by_end.low[0, -1] < within.high.sum() - within.low.sum()
    # Of what is rare, the mean lies above a range of 0 to 0.
    common = by_end.mean > 1
    assert (by_end.low <= by_end.mean).all()
    assert (by_end.mean <= by_end.high)[common].all()


def test_the_same_seed_gives_the_same_counts() -> None:
    early, on, late, now = (NOW + np.full(9, days) for days in (50.0, 90, 160, 0))
    forecasts = Forecasts(early, on, late, now)
    kinds = np.arange(9) % 2

    first, second = (
        expected_crossings(forecasts, kinds, kinds, [NOW + 100], seed=8)[
            1
        ].mean.tolist()
        for _ in range(2)
    )

    assert first == second
