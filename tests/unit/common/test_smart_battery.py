"""The packed date of the Smart Battery Data Specification."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_common.smart_battery import unpack_date


@pytest.mark.parametrize(
    ("packed", "day"),
    [
        # 43 * 512 + 3 * 32 + 15 = 22127 = 0x566F.
        (22127, date(2023, 3, 15)),
        # Texas Instruments, technical reference manual SLUUCO9A: 0x4B5B.
        (19291, date(2017, 10, 27)),
        (0x21, date(1980, 1, 1)),
    ],
)
def test_worked_values(packed: int, day: date) -> None:
    assert unpack_date(packed) == day


@pytest.mark.parametrize("packed", [0, -1, 0x10000, 1, 32, 13 << 5 | 1, 2 << 5 | 30])
def test_what_is_no_day_is_none(packed: int) -> None:
    assert unpack_date(packed) is None


@given(st.dates(date(1980, 1, 1), date(2107, 12, 31)))
def test_every_day_of_its_years_comes_back(day: date) -> None:
    assert unpack_date(day.day + 32 * day.month + 512 * (day.year - 1980)) == day
