"""Wear."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_common.wear import InvalidCapacity, is_plausible, wear

capacities = st.integers(1, 2**31 - 1)


@pytest.mark.parametrize(
    ("full", "design", "expected"),
    [
        # 3.96 Ah of 4.4 Ah, 54.34 Wh of 57 Wh, 60.42 Wh of 57 Wh.
        (3960, 4400, 0.10),
        (54_340, 57_000, 0.0466667),
        (60_420, 57_000, -0.06),
        (0, 57_000, 1.0),
    ],
)
def test_worked_values(full: int, design: int, expected: float) -> None:
    assert wear(full, design) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("full", "design"),
    [(1, 0), (1, -1), (-1, 10), (float("nan"), 1), (1, float("nan"))],
)
def test_from_senseless_capacities_no_wear_follows(full: float, design: float) -> None:
    with pytest.raises(InvalidCapacity):
        wear(full, design)


@given(capacities, capacities, st.integers(1, 1000))
def test_wear_does_not_depend_on_the_unit(full: int, design: int, factor: int) -> None:
    assert wear(full * factor, design * factor) == pytest.approx(wear(full, design))


@given(capacities, capacities, capacities)
def test_less_capacity_is_more_wear(design: int, one: int, other: int) -> None:
    assert (one < other) == (wear(one, design) > wear(other, design)) or one == other


@pytest.mark.parametrize(
    ("full", "design", "plausible"),
    [
        (49_020, 57_000, True),
        (74_100, 57_000, True),
        (74_101, 57_000, False),
        (0, 57_000, False),
        (None, 57_000, False),
        (49_020, None, False),
        (49_020, 0, False),
    ],
)
def test_plausible_capacities(
    full: int | None,
    design: int | None,
    plausible: bool,
) -> None:
    assert is_plausible(full, design) is plausible
