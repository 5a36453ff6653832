from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import (
    DAYS_PER_MONTH,
    Assessments,
    Drops,
    Knees,
    Thresholds,
)
from fadewatch_collector.rules.assessment import Assessment
from fadewatch_collector.rules.concern import RANKED, Circumstances, conclude
from tests.unit.collector.analysis.made import (
    FIRST_DAY,
    histories,
    noise,
    on_last_day,
    straight,
)

LIMITS = Thresholds()
AS_OF = 20_199


def figures(wear: float, fade: float = 0.004) -> Assessments:
    """Make the figures of one calm pack whose wear ends at about ``wear``."""
    start = 1.0 - wear + fade * 199 / DAYS_PER_MONTH
    return on_last_day(histories(straight(200, fade, start) + noise(200, 0.004)))


def dropped(
    known: Assessments, size: float, before: float, *, sure: bool = True
) -> Assessments:
    drop = Drops(
        on=np.array([20_150.0]),
        size=np.array([size]),
        confirmed=np.array([sure]),
        wear_before=np.array([before]),
    )
    return replace(known, drop=drop)


def bent(known: Assessments, before: float, after: float) -> Assessments:
    rates = np.array([before, after]) / DAYS_PER_MONTH
    return replace(known, knee=Knees(np.array([20_120.0]), rates[:1], rates[1:]))


def said(known: Assessments, **circumstances: object) -> Assessment:
    around = Circumstances(**circumstances)  # type: ignore[arg-type]  # passed through
    return conclude(known, 0, LIMITS, around)


@pytest.mark.parametrize(
    ("wear", "concern"), [(0.10, "none"), (0.33, "plan"), (0.45, "replace")]
)
def test_wear_alone_asks_for_what_its_band_says(wear: float, concern: str) -> None:
    found = said(figures(wear))
    assert found.concern == concern
    assert found.wear_percent == pytest.approx(100 * wear, abs=0.6)


def test_a_confirmed_drop_asks_for_an_inspection() -> None:
    found = said(dropped(figures(0.2), 0.12, 0.08))
    assert found.concern == "inspect"
    assert found.reasons[0] == (
        "Capacity fell by 12 % of design on 3 March 2025 and has stayed down since: "
        "inspect the pack."
    )


def test_an_unconfirmed_drop_is_told_but_asks_for_nothing() -> None:
    found = said(dropped(figures(0.2), 0.12, 0.08, sure=False))
    assert found.concern == "none"
    assert found.reasons[0].startswith("Capacity seems to have fallen by 12 %")


@pytest.mark.parametrize(
    ("size", "before", "concern"),
    [
        (0.25, 0.30, "stop-use"),
        (0.249, 0.35, "inspect"),
        (0.30, 0.299, "inspect"),
        (0.40, 0.10, "inspect"),
    ],
)
def test_only_a_quarter_lost_by_a_pack_past_the_plan_threshold_stops_its_use(
    size: float, before: float, concern: str
) -> None:
    assert said(dropped(figures(0.6), size, before)).concern == concern


def test_stopping_is_worded_as_a_precaution() -> None:
    found = said(dropped(figures(0.6), 0.28, 0.34))
    assert found.reasons[0].startswith("As a precaution stop using it")


def test_reported_signs_stop_use_whatever_the_figures() -> None:
    found = said(figures(0.05), signs=("raised touchpad",))
    assert found.concern == "stop-use"
    assert "raised touchpad" in found.reasons[0]


def test_signs_count_even_without_a_reading() -> None:
    empty = histories(np.zeros(5))
    found = conclude(assess(empty, 20_010), 0, LIMITS, Circumstances(signs=("smell",)))
    assert found.concern == "stop-use"
    assert found.wear_percent is None


@pytest.mark.parametrize(
    ("before", "after", "concern"),
    [(0.004, 0.03, "inspect"), (0.004, 0.012, "none"), (0.012, 0.03, "none")],
)
def test_only_sharp_acceleration_asks_for_an_inspection(
    before: float, after: float, concern: str
) -> None:
    assert said(bent(figures(0.15), before, after)).concern == concern


@pytest.mark.parametrize(
    ("wear", "circumstances", "concern"),
    [
        (0.45, {"age_years": 6.0}, "inspect"),
        (0.45, {"age_years": 2.0}, "replace"),
        (0.45, {"hottest_c": 51.0}, "inspect"),
        (0.45, {"hottest_c": 38.0}, "replace"),
        (0.33, {"age_years": 9.0, "hottest_c": 60.0}, "plan"),
    ],
)
def test_age_or_heat_matters_only_past_the_replace_threshold(
    wear: float, circumstances: dict[str, float], concern: str
) -> None:
    assert said(figures(wear), **circumstances).concern == concern


def test_an_inspection_answers_what_happened_before_it() -> None:
    known = dropped(figures(0.2), 0.12, 0.08)
    assert said(known, inspected_on=date(2025, 3, 10)).concern == "none"
    assert said(known, inspected_on=date(2025, 2, 10)).concern == "inspect"


def test_an_inspected_worn_pack_is_left_at_replace() -> None:
    found = said(figures(0.45), age_years=6.0, inspected_on=date(2025, 4, 1))
    assert found.concern == "replace"


def test_the_gravest_reason_comes_first() -> None:
    found = said(dropped(figures(0.45), 0.15, 0.25), age_years=7.0)
    assert found.concern == "inspect"
    assert found.reasons[0].startswith("Capacity fell")
    assert any("past the replace threshold" in reason for reason in found.reasons)
    assert RANKED.index("inspect") > RANKED.index("replace")


@pytest.mark.parametrize(
    ("health", "words"),
    [
        (np.ones(150), "reported exactly the design capacity since 4 October 2024"),
        (
            np.concatenate((straight(60) + noise(60), np.full(90, 0.97))),
            "the same value since 3 December 2024",
        ),
        (straight(150) + noise(150, 0.05), "scatter by"),
        (np.where(np.arange(150) % 3, 0.95, 0.0), "impossible values"),
    ],
)
def test_a_doubtful_gauge_is_named_with_its_date(
    health: np.ndarray, words: str
) -> None:
    # Day 20,000 after 1970-01-01 is 4 October 2024.
    reasons = conclude(on_last_day(histories(health)), 0, LIMITS).reasons
    assert any(words in reason for reason in reasons)


def test_borrowed_fade_is_said_to_be_borrowed() -> None:
    young = conclude(on_last_day(histories(straight(6))), 0, LIMITS)
    assert any("published figures" in reason for reason in young.reasons)


def test_a_forecast_is_told_with_its_interval() -> None:
    reasons = said(figures(0.2, 0.01)).reasons
    forecast = next(r for r in reasons if "expected to reach" in r)
    assert "the plan threshold of 30 %" in forecast
    assert "in four cases of five between" in forecast


def test_every_reason_is_a_sentence() -> None:
    for known in (figures(0.1), figures(0.5), dropped(figures(0.2), 0.3, 0.1)):
        for reason in said(known).reasons:
            assert reason[0].isupper()
            assert reason.endswith(".")
            assert "nan" not in reason


def test_an_assessment_has_the_agreed_fields_and_plain_json_values() -> None:
    known = bent(dropped(figures(0.2, 0.01), 0.12, 0.08), 0.004, 0.03)
    plain = said(known).as_json()
    assert list(plain) == [
        "pack_id",
        "as_of",
        "readings",
        "wear_percent",
        "band",
        "fade_percent_per_month",
        "crossings",
        "sudden_drop",
        "knee",
        "gauge",
        "concern",
        "reasons",
    ]
    assert plain["as_of"] == "2025-04-21"
    assert plain["sudden_drop"] == {
        "on": "2025-03-03",
        "percent": 12.0,
        "confirmed": True,
    }
    assert list(plain["crossings"]["plan"]) == ["on", "earliest", "latest"]
    assert plain["knee"]["after_percent_per_month"] == pytest.approx(3.0)
    assert AS_OF == FIRST_DAY + 199
