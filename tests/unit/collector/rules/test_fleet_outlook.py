from datetime import date

import pytest

from fadewatch_collector.analysis.held import LEADS, Tally
from fadewatch_collector.rules.fleet_outlook import (
    ExpectedMonth,
    held_rows,
    last_day,
    months_ahead,
    quarter_end,
)
from fadewatch_collector.rules.held import LEAD_WORDS, is_due, kept_since


def test_two_years_follow_the_rest_of_this_month() -> None:
    months = months_ahead(date(2026, 11, 25))

    assert (months[0], months[1], months[-1]) == (
        date(2026, 11, 1),
        date(2026, 12, 1),
        date(2028, 11, 1),
    )


@pytest.mark.parametrize(
    ("today", "end"),
    [(date(2026, 11, 25), date(2027, 2, 28)), (date(2027, 11, 30), date(2028, 2, 29))],
)
def test_a_quarter_ends_with_the_third_whole_month(today: date, end: date) -> None:
    assert quarter_end(today) == end


def test_the_last_day_of_a_year_is_in_it() -> None:
    assert last_day(date(2026, 12, 1)) == date(2026, 12, 31)


def test_a_month_comes_back_from_json_as_it_was() -> None:
    month = ExpectedMonth(
        threshold="plan",
        month=date(2026, 12, 1),
        expected=1.5,
        low=0,
        high=3,
        by_then=2.5,
        by_then_low=1,
        by_then_high=4,
    )

    assert ExpectedMonth.from_json(month.as_json()) == month


def test_each_lead_time_has_its_row_after_that_of_all() -> None:
    rows = held_rows("plan", Tally(), [Tally() for _ in range(len(LEADS) + 1)])

    assert [row.lead for row in rows] == ["all", *LEAD_WORDS]
    assert (rows[0].ended, rows[0].error_days) == (0, None)


@pytest.mark.parametrize(
    ("kept", "today", "due"),
    [
        (None, date(2026, 3, 5), True),
        (date(2026, 3, 1), date(2026, 3, 31), False),
        (date(2026, 3, 31), date(2026, 4, 1), True),
        (date(2025, 12, 31), date(2026, 1, 1), True),
    ],
)
def test_forecasts_are_kept_once_in_a_calendar_month(
    kept: date | None, today: date, due: bool
) -> None:
    assert is_due(kept, today) is due


def test_kept_forecasts_stay_for_three_years() -> None:
    assert kept_since(date(2029, 1, 10)) == date(2026, 1, 1)
