"""The forecast of a pack, as a plot draws it."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.usecases.overview import AssessmentRow
from fadewatch_collector.web.outlook import AHEAD, expected_of, forecast_from
from fadewatch_common.policy import DEFAULT_POLICY

FIRST, TODAY = date(2024, 3, 2), date(2026, 3, 2)
LEVEL = [(FIRST, 0.02), (TODAY, 0.2)]


def days(count: int) -> date:
    return TODAY + timedelta(days=count)


ASSESSED = AssessmentRow(
    as_of=TODAY,
    readings=400,
    wear=0.2,
    band="sound",
    fade_per_month=0.008,
    plan_earliest=days(200),
    plan_on=days(300),
    plan_latest=days(500),
    replace_earliest=days(400),
    replace_on=days(600),
    replace_latest=days(900),
    gauge="good",
    concern="none",
    reasons=[],
    details=None,
)


def test_the_band_opens_to_both_thresholds() -> None:
    expected = expected_of(ASSESSED, DEFAULT_POLICY, TODAY)

    forecast = forecast_from(LEVEL, expected)

    assert list(forecast.range.high) == [
        (TODAY, 0.2), (days(200), 0.3), (days(400), 0.4), (days(900), 0.4)
    ]  # fmt: skip
    assert list(forecast.range.low) == [
        (TODAY, 0.2), (days(500), 0.3), (days(900), 0.4)
    ]  # fmt: skip
    assert forecast.course[-1] == (days(600), 0.4)
    assert [meeting.on for meeting in forecast.meetings] == [days(300), days(600)]


def test_a_threshold_passed_already_is_not_expected() -> None:
    passed = replace(
        ASSESSED, plan_earliest=days(-9), plan_on=days(-9), plan_latest=days(-9)
    )

    expected = expected_of(passed, DEFAULT_POLICY, TODAY)

    assert [one.name for one in expected] == ["replace"]


def test_nothing_is_expected_without_an_assessment_or_a_crossing() -> None:
    frozen = replace(ASSESSED, plan_on=None, replace_on=None)

    assert expected_of(None, DEFAULT_POLICY, TODAY) == []
    assert expected_of(frozen, DEFAULT_POLICY, TODAY) == []


def test_an_interval_that_reaches_the_horizon_is_called_open() -> None:
    slow = replace(ASSESSED, replace_latest=TODAY + timedelta(days=3652))

    plan, late = expected_of(slow, DEFAULT_POLICY, TODAY)

    assert plan.interval == "2026-09-18 to 2027-07-15"
    assert late.interval.endswith("or later")


def test_a_plot_looks_three_years_ahead_and_always_to_the_next_threshold() -> None:
    far = replace(
        ASSESSED,
        plan_on=days(2000),
        plan_latest=days(3000),
        replace_on=days(2900),
        replace_latest=days(3600),
    )
    near = replace(ASSESSED, replace_latest=days(3600))

    to_next = forecast_from(LEVEL, expected_of(far, DEFAULT_POLICY, TODAY))
    bounded = forecast_from(LEVEL, expected_of(near, DEFAULT_POLICY, TODAY))

    assert days(2000) < to_next.range.high[-1][0] < days(2400)
    assert bounded.range.high[-1][0] == TODAY + AHEAD


@given(
    st.lists(st.integers(0, 3652), min_size=6, max_size=6),
    st.floats(-0.1, 0.29),
    st.integers(0, 900),
)
def test_bands_go_forward_and_stay_below_the_last_threshold(
    counts: list[int], now: float, span: int
) -> None:
    a, b, c, d, e, f = sorted(counts)
    made = replace(
        ASSESSED,
        plan_earliest=days(a), plan_on=days(c), plan_latest=days(e),
        replace_earliest=days(b), replace_on=days(d), replace_latest=days(f),
    )  # fmt: skip
    expected = expected_of(made, DEFAULT_POLICY, TODAY)
    if not expected:
        return

    forecast = forecast_from([(days(-span), 0.0), (TODAY, now)], expected)

    for way in (forecast.range.low, forecast.range.high, forecast.course):
        assert [day for day, _ in way] == sorted(day for day, _ in way)
        assert all(now <= wear <= 0.4 + 1e-9 for _, wear in way)
