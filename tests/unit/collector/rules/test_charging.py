"""Charging habits, and what is said of them, by hand."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.rules.charging import (
    LEAST_DAYS,
    Advice,
    ChargingHabit,
    Limit,
    habit_of,
)
from fadewatch_collector.rules.charging_day import ChargingDay
from fadewatch_collector.rules.charging_words import (
    SOURCES,
    FadeBeside,
    in_short,
    sentences,
    trade_off,
)

TODAY = date(2026, 3, 31)
FULL = ChargingDay(
    day=TODAY,
    readings=2,
    judged=2,
    on_mains=2,
    near_full=2,
    held=0,
    temperature_c=31.0,
    near_full_temperature_c=33.0,
    lowest_charge=0.96,
    charge_limit_percent=None,
)
AWAY = replace(
    FULL, on_mains=0, near_full=0, near_full_temperature_c=None, lowest_charge=0.4
)
HELD = replace(FULL, near_full=0, held=2, near_full_temperature_c=None)


def ending_today(*days: ChargingDay) -> list[ChargingDay]:
    """Put days one after the other so that the last is today."""
    first = TODAY - timedelta(days=len(days) - 1)
    return [replace(one, day=first + timedelta(days=i)) for i, one in enumerate(days)]


def habit(*days: ChargingDay) -> ChargingHabit:
    return habit_of(ending_today(*days), TODAY)


def test_a_pack_always_full_on_mains_is_mostly_near_full() -> None:
    found = habit(*[FULL] * 20)

    assert found.habit == "near full"
    assert (found.recent.near_full, found.recent.readings, found.recent.days) == (
        40,
        40,
        20,
    )
    # 20 days count as 20: Wilson's 80 % interval of 20 of 20 begins at
    # 1 / (1 + 1.2816^2 / 20) = 0.924.
    share = found.recent.near_full_share
    assert share
    assert (share.estimate, share.low, share.high) == pytest.approx(
        (1, 0.924, 1), abs=1e-3
    )


def test_a_pack_seldom_full_and_one_in_between_are_told_apart() -> None:
    assert habit(*[AWAY] * 18, FULL, FULL).habit == "seldom full"
    assert habit(*[AWAY] * 9, *[FULL] * 11).habit == "mixed"
    assert habit(*[AWAY] * 4, *[FULL] * 16).habit == "near full"


def test_nine_days_are_too_few_and_ten_are_enough() -> None:
    assert habit(*[FULL] * (LEAST_DAYS - 1)).habit == "too few"
    assert habit(*[FULL] * LEAST_DAYS).habit == "near full"
    assert habit().habit == "too few"


def test_days_on_which_nothing_can_be_judged_do_not_count() -> None:
    blind = replace(FULL, judged=0, on_mains=0, near_full=0)

    assert habit(*[FULL] * 9, *[blind] * 20).habit == "too few"


def test_the_longer_span_rules_where_the_recent_one_says_too_little() -> None:
    days = ending_today(*[FULL] * 60)
    seen = [one for one in days if (TODAY - one.day).days >= 25]

    found = habit_of(seen, TODAY)

    assert found.recent.days == 5
    assert (found.habit, found.ruling.length) == ("near full", 90)


def test_both_spans_end_today_and_hold_their_days() -> None:
    found = habit(*[FULL] * 120)

    assert (found.recent.days, found.longer.days) == (30, 90)


@pytest.mark.parametrize(
    ("limits", "kind", "limit", "advice"),
    [
        ([None] * 20, FULL, "not reported", "consider"),
        ([100] * 20, FULL, "unused", "consider"),
        ([95] * 20, FULL, "unused", "consider"),
        ([80] * 20, FULL, "not kept", "check"),
        # Set two days ago: what went before says nothing of it.
        ([100] * 18 + [80] * 2, FULL, "set", "none"),
        ([80] * 20, HELD, "set", "none"),
        ([None] * 20, HELD, "held", "none"),
        ([100] * 20, HELD, "held", "none"),
        # Not reported today, but known.
        ([80] * 19 + [None], HELD, "set", "none"),
    ],
)
def test_what_is_known_of_the_limit_decides_what_to_think_about(
    limits: list[int | None], kind: ChargingDay, limit: Limit, advice: Advice
) -> None:
    found = habit(*[replace(kind, charge_limit_percent=one) for one in limits])

    assert (found.limit, found.advice) == (limit, advice)


def test_a_pack_that_is_not_mostly_full_needs_no_limit() -> None:
    assert habit(*[AWAY] * 20).advice == "none"


def test_hot_is_above_40_degrees_near_full_on_the_middle_day() -> None:
    hot = replace(FULL, near_full_temperature_c=40.5)
    edge = replace(FULL, near_full_temperature_c=40.0)

    assert habit(*[hot] * 11, *[FULL] * 9).is_hot
    assert not habit(*[hot] * 9, *[FULL] * 11).is_hot
    assert not habit(*[edge] * 20).is_hot
    assert not habit(*[hot] * 9).is_hot


def test_a_recommendation_has_its_figures_and_leaves_the_choice() -> None:
    said = sentences(habit(*[FULL] * 16, *[AWAY] * 4))

    assert said[0] == (
        "On mains at 95 % charge or more in 32 of 40 readings of the last 30 days. "
        "That is 80 % (80 % interval 66 to 89 %)."
    )
    assert said[2] == (
        "No charge limit is reported. If the laptop's firmware or its maker's tool has "
        "one, a limit of 80 % is worth considering, if its holder can do with less "
        "running time."
    )


def test_a_limit_that_is_reported_at_100_is_named() -> None:
    said = sentences(habit(*[replace(FULL, charge_limit_percent=100)] * 20))

    assert any("has a charge limit, now at 100 %" in one for one in said)


def test_a_limit_that_does_not_hold_is_to_be_looked_at() -> None:
    said = sentences(habit(*[replace(FULL, charge_limit_percent=80)] * 20))

    assert any(
        "A charge limit of 80 % is reported, yet" in one and "40 of 40 readings" in one
        for one in said
    )


def test_a_limit_that_holds_needs_nothing() -> None:
    said = sentences(habit(*[replace(HELD, charge_limit_percent=80)] * 20))

    assert said[1:] == ("A charge limit of 80 % is set: nothing to change.",)
    assert "in 0 of 40 readings" in said[0]


def test_too_few_readings_are_said_and_nothing_else() -> None:
    (said,) = sentences(habit(FULL))

    assert said.startswith("Readings of 1 day in the last 90")
    assert said.endswith("a habit is told from 10 days on.")


def test_a_hot_pack_is_told_with_its_source() -> None:
    said = sentences(habit(*[replace(FULL, near_full_temperature_c=43.0)] * 20))

    assert any(
        "at 43 °C" in one and "0 to 40 °C" in one and "Fire Administration" in one
        for one in said
    )


def test_faster_fade_is_told_without_a_cause() -> None:
    full = habit(*[FULL] * 20)
    faster = FadeBeside(own=0.021, typical=0.012, is_of_type=True)

    said = sentences(full, faster)

    assert said[-1] == (
        "The pack loses 2.10 % of design a month where 1.20 % is typical of its pack "
        "type. That does not show that charging is the cause."
    )
    assert "a month" not in " ".join(
        sentences(full, FadeBeside(own=0.013, typical=0.012, is_of_type=True))
    )
    assert "a month" not in " ".join(sentences(habit(*[AWAY] * 20), faster))


def test_a_list_says_in_a_few_words_what_is_worth_doing() -> None:
    hot = replace(FULL, near_full_temperature_c=43.0)
    faster = FadeBeside(own=0.021, typical=0.012, is_of_type=False)

    assert in_short(habit(*[hot] * 20), faster) == (
        "See whether it has a limit, and consider 80 %",
        "Hot: find out why, and look for signs of swelling",
        "Fades faster than is typical",
    )
    assert in_short(habit(*[replace(FULL, charge_limit_percent=100)] * 20)) == (
        "Consider a limit of 80 %",
    )
    assert in_short(habit(*[replace(FULL, charge_limit_percent=80)] * 20)) == (
        "See whether the setting still holds",
    )
    assert in_short(habit(*[AWAY] * 20), faster) == ()


def test_a_pack_that_must_not_be_used_gets_no_other_advice() -> None:
    stopped = replace(habit(*[FULL] * 20), is_stopped=True)

    assert stopped.advice == "none"
    (said,) = sentences(stopped)
    assert said.startswith("Stop using this laptop and do not charge it")
    assert in_short(stopped) == ("Stop using it, and do not charge it",)


def test_the_cost_of_a_limit_is_told_only_with_the_thought_of_one() -> None:
    assert trade_off("none") is None
    assert "fifth of the running time" in (trade_off("consider") or "")
    assert "never changes a setting" in (trade_off("check") or "")


@pytest.mark.parametrize("kind", [FULL, HELD, AWAY])
@pytest.mark.parametrize("limit", [None, 80, 100])
def test_no_sentence_promises_what_a_limit_does(
    kind: ChargingDay, limit: int | None
) -> None:
    told = habit(*[replace(kind, charge_limit_percent=limit)] * 20)
    text = " ".join([*sentences(told), *SOURCES, trade_off(told.advice) or ""])

    for promise in ("will last", "safe", "longer life", "prevent"):
        assert promise not in text


@given(
    st.lists(
        st.tuples(st.integers(0, 120), st.integers(0, 4), st.integers(0, 4)),
        max_size=60,
    )
)
def test_a_share_lies_inside_its_interval_whatever_was_read(
    told: list[tuple[int, int, int]],
) -> None:
    days = [
        replace(
            FULL,
            day=TODAY - timedelta(days=ago),
            judged=max(judged, near_full),
            on_mains=near_full,
            near_full=near_full,
        )
        for ago, judged, near_full in sorted({one[0]: one for one in told}.values())
    ]

    found = habit_of(sorted(days, key=lambda one: one.day), TODAY)

    for span in (found.recent, found.longer):
        share = span.near_full_share
        assert (share is None) == (span.readings == 0)
        if share:
            assert 0 <= share.low <= share.estimate + 1e-9
            assert share.estimate - 1e-9 <= share.high <= 1


def test_a_pack_neither_cool_nor_warm_is_told_its_warmth_without_a_word_on_loss() -> (
    None
):
    mild = replace(FULL, near_full_temperature_c=21.0)

    (told,) = [one for one in sentences(habit(*[mild] * 20)) if "°C" in one]

    assert told == "The pack was at 21 °C then (median of the days)."


def test_a_limit_set_of_late_explains_the_readings_before_it() -> None:
    limited = replace(HELD, charge_limit_percent=80)

    told = sentences(habit(*[FULL] * 27, *[limited] * 3))

    assert any("most of these readings are from before it" in one for one in told)
