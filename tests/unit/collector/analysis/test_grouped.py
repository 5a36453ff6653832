"""Figures of groups, held against the standard library group by group."""

from math import isnan, nan
from statistics import median

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.analysis.grouped import least, medians, sums

GROUPS = 4
VALUES = st.lists(
    st.tuples(
        st.integers(0, GROUPS - 1),
        st.one_of(st.just(nan), st.floats(-50, 60, allow_nan=False)),
    )
)


def _known(told: list[tuple[int, float]], group: int) -> list[float]:
    return [value for of, value in told if of == group and not isnan(value)]


@given(VALUES)
def test_medians_and_the_least_are_those_of_each_groups_known_values(
    told: list[tuple[int, float]],
) -> None:
    group = np.array([of for of, _ in told], dtype=np.int64)
    values = np.array([value for _, value in told], dtype=np.float64)

    middle = medians(values, group, GROUPS).tolist()
    lowest = least(values, group, GROUPS).tolist()

    for number in range(GROUPS):
        known = _known(told, number)
        if known:
            assert middle[number] == median(known)
            assert lowest[number] == min(known)
        else:
            assert isnan(middle[number])
            assert isnan(lowest[number])


def test_sums_are_whole_numbers_and_0_for_a_group_without_values() -> None:
    found = sums(np.array([3, 4, 5]), np.array([0, 2, 2]), 3)

    assert found.tolist() == [3, 0, 9]
    assert found.dtype == np.int64
