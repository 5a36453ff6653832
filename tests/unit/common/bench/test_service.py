"""The issue rule, by figures worked by hand.

Three years end on 2029-11-25, 36 months on: at 0.5 % a month 18 % is lost, at 0.4 %
14.4 %, at 0.7 % 25.2 %. Published figures: 0.85 % a month, 30.6 %; at 500 cycles to
80 % and 200 a year 0.667 %, 24 %.
"""

from dataclasses import replace
from datetime import date

import pytest

from fadewatch_common.policy import Policy
from tests.bench_facts import MEASURED, checked, history, only, slot_of, worn


@pytest.mark.parametrize(
    ("percent", "severity", "then"),
    [
        (3, "note", 21.0),  # at the fast end 28.2
        (10, "remark", 28.0),  # at the fast end 35.2
        (13, "stops", 31.0),
    ],
)
def test_typical_fade_is_added_for_the_years_of_service(
    percent: float, severity: str, then: float
) -> None:
    remark = only(checked(worn(percent)), "service")

    assert remark.severity == severity
    assert remark.figures["wear_then_percent"] == pytest.approx(then, abs=0.02)


def test_the_sentence_says_wear_years_threshold_when_and_whose_fade() -> None:
    # (30 - 13) / 0.5 = 34 months: 2029-09-25, 2.83 years from now.
    assert only(checked(worn(13)), "service").sentence == (
        "Wear is 13 % (by one reading). After 3 years of service about 31 % is "
        "expected, past the plan threshold of 30 %, reached about September 2029. "
        "Fade taken: 0.50 % a month, typical by 41 packs of its type. Fit a new pack, "
        "or issue it for no more than 2.8 years."
    )


def test_fewer_years_of_service_are_asked_for_less() -> None:
    assert only(checked(worn(13), service_years=1), "service").severity == "note"
    assert only(checked(worn(13), service_years=3), "service").severity == "stops"


def test_the_years_are_the_policys_unless_others_are_asked_for() -> None:
    found = checked(worn(13), policy=Policy(service_years=1))

    assert (found.service_years, found.verdict) == (1, "ready")


@pytest.mark.parametrize(
    ("percent", "severity"),
    [
        (4, "remark"),  # 34.6 typical, 28 at the slow end
        (7, "stops"),  # 31 even at the slow end
    ],
)
def test_published_figures_are_a_guess_and_stop_only_at_their_slow_end(
    percent: float, severity: str
) -> None:
    remark = only(checked(worn(percent), fades=()), "service")

    assert remark.severity == severity
    assert "0.85 % a month, typical by published figures (300 to 500 cycles" in (
        remark.sentence
    )


def test_a_new_pack_is_as_good_as_can_be_fitted() -> None:
    remark = only(checked(worn(2, cycle_count=2), fades=()), "service")

    assert remark.severity == "note"
    assert "It counts as new, and no better one can be fitted" in remark.sentence


def test_a_type_that_is_known_to_fade_fast_is_told_of_even_when_new() -> None:
    fast = replace(MEASURED[0].fade, per_month=0.02)
    fades = (replace(MEASURED[0], fade=fast),)

    remark = only(checked(worn(1, cycle_count=1), fades=fades), "service")

    assert remark.severity == "remark"


def test_what_a_pack_lost_since_it_was_made_softens_a_guess() -> None:
    # 10 % in 50 months, 0.2 % a month: 17.2 % after three years.
    made_on = date(2022, 9, 24)

    remark = only(checked(worn(10, made_on=made_on), fades=()), "service")

    assert remark.severity == "remark"
    assert "its own average so far is 0.20 % a month" in remark.sentence


def test_what_a_pack_lost_since_it_was_made_can_be_worse_than_typical() -> None:
    # 20 % in 20 months, 1 % a month.
    made_on = date(2025, 3, 27)

    remark = only(checked(worn(20, made_on=made_on)), "service")

    assert remark.severity == "stops"
    assert "1.00 % a month, this pack's own average since it was made" in (
        remark.sentence
    )


@pytest.mark.parametrize(
    ("earliest", "on", "severity"),
    [
        (date(2030, 1, 1), date(2032, 1, 1), "note"),
        (date(2029, 1, 1), date(2032, 1, 1), "remark"),
        # 27 % at 0.30 % a month take 90 months: only the guess that fade speeds up
        # says otherwise.
        (date(2027, 1, 1), date(2028, 6, 1), "remark"),
        (None, None, "note"),
    ],
)
def test_a_history_with_time_to_spare_is_never_failed_by_its_forecast_alone(
    earliest: date | None, on: date | None, severity: str
) -> None:
    known = history(plan_earliest=earliest, plan_on=on, plan_latest=on)

    remark = only(checked(worn(3), slots=[slot_of(worn(3), history=known)]), "service")

    assert remark.severity == severity
    assert "(from 400 readings up to 25 November 2026)" in remark.sentence
    assert "this pack's own history, now 0.30 % a month" in remark.sentence


def test_what_fades_too_fast_already_is_not_ready() -> None:
    # 17 % to go at 0.60 % a month: 28 months, fewer than the 36 asked for.
    known = history(
        wear=0.13,
        fade_per_month=0.006,
        plan_earliest=date(2027, 9, 1),
        plan_on=date(2028, 8, 1),
        plan_latest=date(2030, 1, 1),
    )

    slot = slot_of(worn(13), history=known)
    remark = only(checked(worn(13), slots=[slot]), "service")

    assert remark.severity == "stops"
    assert "Fit a new pack, or issue it for no more than 1.6 years." in remark.sentence


def test_wear_expected_follows_the_forecast_to_its_crossing() -> None:
    # 3 % now, 30 % on 2032-11-24: half way on 2029-11-24 it is 16.5 %.
    known = history(plan_on=date(2032, 11, 24), plan_earliest=date(2031, 1, 1))

    remark = only(checked(worn(3), slots=[slot_of(worn(3), history=known)]), "service")

    assert remark.figures["wear_then_percent"] == pytest.approx(16.5, abs=0.1)


@pytest.mark.parametrize("source", ["published figures", "fleet", "own pack type"])
def test_a_history_that_borrows_its_fade_knows_no_more_than_the_line(
    source: str,
) -> None:
    # Its own forecast would let it pass.
    known = history(wear=0.07, readings=1, fade_source=source)
    slot = slot_of(worn(7), history=known)

    remark = only(checked(worn(7), slots=[slot], fades=()), "service")

    # 7 % and 24 % at the slow end: as without a history.
    assert remark.severity == "stops"
    assert "(from 1 reading up to 25 November 2026)" in remark.sentence
    assert "typical by published figures" in remark.sentence


def test_a_forecast_says_when_it_expects_fade_to_speed_up() -> None:
    # 27 % at 0.3 % a month would take 90 months; the forecast says 20 and 30.
    known = history(
        plan_earliest=date(2027, 12, 1),
        plan_on=date(2028, 7, 25),
        plan_latest=date(2029, 7, 25),
        replace_on=date(2029, 5, 25),
    )

    remark = only(checked(worn(3), slots=[slot_of(worn(3), history=known)]), "service")

    assert "now 0.30 % a month and expected to speed up" in remark.sentence
    assert remark.severity == "remark"
    assert "At the fade of now it would stay below until May 2034" in remark.sentence
    assert "or issue it for no more than 1.6 years." in remark.sentence
    # Past its last crossing on 2029-05-25 the forecast says no more than 40 %.
    assert "After 3 years of service at least 40 % is expected" in remark.sentence


@pytest.mark.parametrize(
    ("percent", "threshold", "look_first"), [(34, 30, False), (43, 40, True)]
)
def test_a_pack_past_a_threshold_is_not_issued(
    percent: float, threshold: float, look_first: bool
) -> None:
    found = checked(worn(percent))

    remark = only(found, "wear")
    assert (found.verdict, found.look_first) == ("not-ready", look_first)
    assert remark.figures["threshold_percent"] == threshold
    assert f"Wear is {percent} %" in remark.sentence


def test_a_pack_that_does_not_fade_stays_where_it_is() -> None:
    still = history(
        fade_per_month=0.0,
        plan_earliest=None,
        plan_on=None,
        plan_latest=None,
        replace_on=None,
    )

    remark = only(checked(worn(3), slots=[slot_of(history=still)]), "service")

    assert remark.severity == "note"
    assert remark.figures["wear_then_percent"] == pytest.approx(3.0)
