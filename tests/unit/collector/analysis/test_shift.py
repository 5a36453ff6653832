"""The rank test and the shift, against scipy and against every pair by hand."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import mannwhitneyu

from fadewatch_collector.analysis.shift import Pair, rank_test, shift

CLOSE = 1e-9

values = st.lists(st.integers(-5, 5).map(float), min_size=2, max_size=25)


@given(values, values)
def test_one_stratum_is_scipys_mann_whitney_test(
    first: list[float], second: list[float]
) -> None:
    assume(len({*first, *second}) > 1)
    theirs = mannwhitneyu(
        first,
        second,
        alternative="two-sided",
        method="asymptotic",
        use_continuity=False,
    )

    assert rank_test([(np.array(first), np.array(second))]).p_value == pytest.approx(
        float(theirs.pvalue), abs=CLOSE
    )


def test_two_strata_agree_with_every_way_of_dealing_them_out() -> None:
    """The score's mean is 0 and its variance 1 over all arrangements, by van Elteren."""
    strata = [np.array([1.0, 2.0, 2.0, 5.0, 9.0]), np.array([0.1, 0.4, 0.2, 0.9])]
    scores = [
        rank_test(
            [
                (strata[0][list(a)], np.delete(strata[0], list(a))),
                (strata[1][list(b)], np.delete(strata[1], list(b))),
            ]
        ).score
        for a in combinations(range(5), 2)
        for b in combinations(range(4), 2)
    ]

    assert_allclose(np.mean(scores), 0.0, atol=CLOSE)
    assert_allclose(np.var(scores), 1.0, atol=CLOSE)


def test_like_is_compared_with_like() -> None:
    """Old packs fade faster here; the type has mostly old ones and is no faster."""
    rng = np.random.default_rng(7)
    young, old = rng.normal(0, 0.3, 200), rng.normal(1, 0.3, 200)
    mixed: Pair = (
        np.concatenate((young[:5], old[:95])),
        np.concatenate((young[5:], old[95:])),
    )

    assert rank_test([mixed]).p_value < 1e-9
    assert rank_test([(young[:5], young[5:]), (old[:95], old[95:])]).p_value > 0.05


@given(values, values)
def test_the_shift_of_one_stratum_is_the_median_of_all_differences(
    first: list[float], second: list[float]
) -> None:
    a, b = np.array(first), np.array(second)
    assume(np.unique(np.concatenate((a, b))).size > 1)
    found = shift([(a, b)])

    differences = np.subtract.outer(a, b)
    assert found.estimate == pytest.approx(float(np.median(differences)), abs=1e-6)
    assert found.low <= found.estimate <= found.high


def test_the_limits_hold_a_known_shift_about_as_often_as_they_say() -> None:
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(80):
        strata = [
            (rng.normal(0.7, 1, 8), rng.normal(0.0, 1, 20)),
            (rng.normal(3.7, 1, 6), rng.normal(3.0, 1, 15)),
        ]
        found = shift(strata)
        held += found.low <= 0.7 <= found.high

    assert 0.90 <= held / 80 <= 0.995


def test_groups_that_never_meet_cannot_be_compared() -> None:
    apart = [(np.array([1.0, 2.0]), np.array([])), (np.array([]), np.array([3.0]))]

    assert rank_test(apart).p_value == 1.0
    with pytest.raises(ValueError, match="both groups"):
        shift(apart)
