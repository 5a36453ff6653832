"""Intervals of shares, against scipy and by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from fadewatch_collector.analysis.shares import independent_count, wilson_interval


@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_interval_is_that_of_scipy(counted: tuple[int, int]) -> None:
    # scipy.stats.binomtest, method "wilson" (Wilson 1927, without correction).
    near_full, readings = counted
    known = binomtest(near_full, readings).proportion_ci(0.80, method="wilson")

    found = wilson_interval(near_full / readings, readings)

    assert found == pytest.approx((known.low, known.high), abs=1e-12)


def test_a_published_interval_comes_out() -> None:
    # Newcombe (1998), Statistics in Medicine 17, 857-872, table I, method 3 (score
    # without correction), from memory: 81 of 263 at 95 % gives 0.2553 to 0.3662.
    found = wilson_interval(81 / 263, 263, z=1.959964)

    assert found == pytest.approx((0.2553, 0.3662), abs=5e-5)


@pytest.mark.parametrize(("share", "count"), [(-0.1, 5), (1.1, 5), (0.5, 0), (0.5, -1)])
def test_a_share_that_cannot_be_is_refused(share: float, count: float) -> None:
    with pytest.raises(ValueError, match="no share"):
        wilson_interval(share, count)


def test_days_of_one_size_count_once_each() -> None:
    assert independent_count([4] * 15) == pytest.approx(15)


def test_a_day_with_most_readings_leaves_little_else() -> None:
    # (4 + 1 + 1)^2 / (16 + 1 + 1) = 2.
    assert independent_count([4, 1, 1]) == pytest.approx(2)


def test_nothing_read_is_worth_nothing() -> None:
    assert independent_count([]) == 0


@given(st.lists(st.integers(1, 50), min_size=1, max_size=90))
def test_readings_are_worth_at_most_their_days(sizes: list[int]) -> None:
    assert 1 - 1e-9 <= independent_count(sizes) <= len(sizes) + 1e-9
