"""The cleaned level of one history."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.analysis.levels import cleaned_levels

START = 20_000
"""2024-10-04 [d since 1970-01-01]."""


def test_noise_is_calmed_and_the_course_kept() -> None:
    day = START + np.arange(400)
    course = 0.0005 * np.arange(400)
    noise = np.random.default_rng(7).normal(0, 0.01, 400)

    level = cleaned_levels(day, course + noise)

    assert level.day.tolist() == day.tolist()
    assert np.std(level.wear - course) < 0.6 * np.std(noise)
    assert abs(np.mean(level.wear - course)) < 0.002


def test_a_lasting_step_stays_a_step() -> None:
    wear = np.where(np.arange(60) < 30, 0.10, 0.30)

    level = cleaned_levels(START + np.arange(60), wear)

    assert level.wear[:30] == pytest.approx(0.10, abs=1e-6)
    assert level.wear[30:] == pytest.approx(0.30, abs=1e-6)


def test_nonsense_of_a_day_or_two_leaves_no_trace() -> None:
    wear = np.full(60, 0.20)
    wear[20], wear[40], wear[41] = 0.9, 0.05, 0.05

    level = cleaned_levels(START + np.arange(60), wear)

    assert level.wear == pytest.approx(0.20, abs=1e-6)


def test_what_cannot_be_true_is_no_day_of_the_level() -> None:
    level = cleaned_levels([START, START + 1, START + 2], [0.1, -5.0, 0.1])

    assert level.day.tolist() == [START, START + 2]


def test_nothing_read_has_no_level() -> None:
    level = cleaned_levels([], [])

    assert (level.day.size, level.wear.size) == (0, 0)


@given(
    readings=st.dictionaries(
        st.integers(START, START + 900), st.floats(-0.2, 0.95), max_size=50
    ),
    later=st.integers(0, 3000),
)
def test_order_does_not_count_and_later_days_move_the_level_along(
    readings: dict[int, float], later: int
) -> None:
    days, wears = np.array(list(readings)), np.array(list(readings.values()))

    level = cleaned_levels(days, wears)
    turned = cleaned_levels(days[::-1], wears[::-1])
    moved = cleaned_levels(days + later, wears)

    assert np.all(np.isfinite(level.wear))
    assert turned.wear.tolist() == level.wear.tolist()
    assert moved.wear.tolist() == level.wear.tolist()
    assert (moved.day - later).tolist() == level.day.tolist()
