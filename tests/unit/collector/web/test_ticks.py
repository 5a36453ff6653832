"""Round places for axes."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.web.ticks import (
    MOST_WEAR_TICKS,
    day_ticks,
    percent,
    wear_ticks,
)


@pytest.mark.parametrize(
    ("lowest", "highest", "expected"),
    [
        (0.0, 0.08, [0.0, 0.02, 0.04, 0.06, 0.08]),
        (0.0, 0.45, [0.0, 0.1, 0.2, 0.3, 0.4]),
        (-0.05, 0.26, [0.0, 0.1, 0.2]),
        (0.0, 1.05, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
    ],
)
def test_wear_ticks_are_round(
    lowest: float, highest: float, expected: list[float]
) -> None:
    assert wear_ticks(lowest, highest) == expected


@pytest.mark.parametrize(
    ("first", "last", "expected"),
    [
        (date(2024, 5, 3), date(2024, 5, 6), ["2024-05-03", "2024-05-05"]),
        (date(2024, 1, 20), date(2024, 12, 20), ["2024-04", "2024-07", "2024-10"]),
        (date(2021, 6, 1), date(2026, 6, 1), ["2022", "2024", "2026"]),
    ],
)
def test_day_ticks_are_round_and_named_as_short_as_they_can(
    first: date, last: date, expected: list[str]
) -> None:
    assert [label for _, label in day_ticks(first, last, most=3)] == expected


@pytest.mark.parametrize(
    ("wear", "text"),
    [(0.3, "30 %"), (0.325, "32.5 %"), (-0.05, "\N{MINUS SIGN}5 %"), (0.0, "0 %")],
)
def test_axes_say_percent(wear: float, text: str) -> None:
    assert percent(wear) == text


@given(
    first=st.dates(date(1990, 1, 1), date(2060, 1, 1)),
    span=st.integers(7, 20_000),
    most=st.integers(2, 12),
)
def test_there_are_always_a_few_day_ticks_within_the_span(
    first: date, span: int, most: int
) -> None:
    last = first + timedelta(days=span)

    ticks = day_ticks(first, last, most)

    assert 1 <= len(ticks) <= most
    assert all(first <= day <= last for day, _ in ticks)


@given(lowest=st.floats(-0.5, 0.0), height=st.floats(0.05, 2.0))
def test_there_are_always_a_few_wear_ticks_within_the_span(
    lowest: float, height: float
) -> None:
    ticks = wear_ticks(lowest, lowest + height)

    assert 1 <= len(ticks) <= MOST_WEAR_TICKS
    assert all(lowest - 1e-6 <= tick <= lowest + height + 1e-6 for tick in ticks)
