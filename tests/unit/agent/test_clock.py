"""Measurement times of a laptop whose clock is wrong."""

from datetime import UTC, datetime, timedelta

import pytest

from fadewatch_agent.clock import (
    Taken,
    Ticks,
    clock_remark,
    comparison,
    is_in_doubt,
    is_wrong,
    true_time,
)

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
YEARS = timedelta(days=26 * 365)
DAY = 86_400.0


def taken(claimed: datetime, boot: str | None = None, seconds: float = 0.0) -> Taken:
    return Taken(claimed, None if boot is None else Ticks(boot, seconds))


def test_readings_of_this_start_are_exact_however_the_clock_was_set() -> None:
    # The clock stood in 2000, was put right, and then ran 40 minutes ahead.
    now = taken(NOON + timedelta(minutes=40), "a", 10 * DAY)
    early = taken(NOON - YEARS, "a", 2 * DAY)

    assert true_time(early, now, ahead=-2400) == NOON - timedelta(days=8)


def test_a_reading_of_an_earlier_start_with_an_impossible_time_is_shifted() -> None:
    now = taken(NOON - YEARS, "b", 60)
    earlier = taken(NOON - YEARS - timedelta(days=3), "a", 60)

    true = true_time(earlier, now, ahead=YEARS.total_seconds())

    assert true == NOON - timedelta(days=3)


def test_a_reading_of_an_earlier_start_with_a_possible_time_keeps_it() -> None:
    # Taken before the clock's cell died.
    earlier = taken(NOON - timedelta(days=3), "a", 60)
    now = taken(NOON - YEARS, "b", 60)

    assert true_time(earlier, now, YEARS.total_seconds()) == earlier.claimed


def test_what_cannot_be_told_stays_as_it_is() -> None:
    # Shifted it would lie in the future: no time is invented.
    earlier = taken(NOON + YEARS, None)

    assert true_time(earlier, taken(NOON), ahead=0.0) == earlier.claimed


def test_with_a_right_clock_nothing_moves() -> None:
    now, earlier = taken(NOON, "a", 100), taken(NOON - timedelta(seconds=40), "a", 60)

    assert true_time(earlier, now, 0.0) == earlier.claimed


@pytest.mark.parametrize(
    ("seconds", "wrong"), [(0, False), (299, False), (301, True), (-301, True)]
)
def test_small_differences_are_left_alone(seconds: int, *, wrong: bool) -> None:
    assert is_wrong(NOON, NOON + timedelta(seconds=seconds)) is wrong


@pytest.mark.parametrize(
    ("passed", "ahead", "doubt"),
    [
        (timedelta(hours=6), 0.0, False),
        (timedelta(days=29), -200.0, False),
        (timedelta(hours=6), 400.0, True),
        (timedelta(days=31), 0.0, True),
        (timedelta(hours=-1), 0.0, True),
        (-YEARS, 0.0, True),
    ],
)
def test_a_clock_is_doubted_when_it_was_wrong_or_has_jumped(
    passed: timedelta, ahead: float, *, doubt: bool
) -> None:
    assert is_in_doubt(taken(NOON + passed), comparison(taken(NOON), ahead)) is doubt


@pytest.mark.parametrize(
    ("boot", "ticked", "doubt"),
    [("a", 6 * 3600.0, False), ("a", 60.0, True), ("b", 60.0, False)],
)
def test_within_a_start_a_clock_that_was_set_is_found_out(
    boot: str, ticked: float, *, doubt: bool
) -> None:
    last = comparison(taken(NOON, "a", 100.0), 0.0)
    now = taken(NOON + timedelta(hours=6), boot, 100.0 + ticked)

    assert is_in_doubt(now, last) is doubt


@pytest.mark.parametrize(
    "last", [{}, {"at": "noon", "ahead": 0}, {"at": NOON.isoformat(), "ahead": "0"}]
)
def test_a_clock_that_was_never_compared_is_doubted(last: dict[str, object]) -> None:
    assert is_in_doubt(taken(NOON), last)


@pytest.mark.parametrize(
    ("off", "words"),
    [
        (YEARS, "9490 days behind"),
        (-timedelta(hours=3), "3 hours ahead of"),
        (timedelta(minutes=7), "7 minutes behind"),
    ],
)
def test_the_remark_keeps_what_the_clock_said(off: timedelta, words: str) -> None:
    remark = clock_remark(NOON, NOON + off)

    assert "said 2026-11-25 12:00:00 UTC" in remark
    assert words in remark
