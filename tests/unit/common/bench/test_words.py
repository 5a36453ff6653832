"""Figures as the sentences of a bench check write them."""

import pytest

from fadewatch_common.bench.words import capacity, percent, years


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (57_000, "mWh", "57000 mWh"),
        (100, "relative", "100 (no unit)"),
        (None, "mWh", "an unknown capacity"),
    ],
)
def test_a_capacity_is_written_in_its_own_unit(
    value: int | None, unit: str, words: str
) -> None:
    assert capacity(value, unit) == words


def test_numbers_are_written_without_false_digits() -> None:
    assert [percent(f) for f in (0.3, 0.305, -0.0004)] == ["30 %", "30.5 %", "0 %"]
    assert [years(y) for y in (1, 1.5, 3)] == ["1 year", "1.5 years", "3 years"]
