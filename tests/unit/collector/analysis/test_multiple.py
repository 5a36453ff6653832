import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from statsmodels.stats.multitest import multipletests

from fadewatch_collector.analysis.multiple import holm


@settings(max_examples=15)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_adjusted_p_values_are_those_of_statsmodels(p_values: list[float]) -> None:
    theirs = multipletests(p_values, method="holm")[1]

    assert_allclose(holm(p_values), theirs, atol=1e-12)


def test_by_hand() -> None:
    # Three comparisons: 3 x 0.01, then 2 x 0.02, then 0.03 which may not be less.
    assert np.allclose(holm([0.02, 0.01, 0.03]), [0.04, 0.03, 0.04])


def test_nothing_to_adjust() -> None:
    assert holm([]) == []
