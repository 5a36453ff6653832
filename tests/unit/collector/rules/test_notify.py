"""Which message goes to whom, when, and when it is tried again."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fadewatch_collector.rules.alert_terms import URGENCIES, AlertState, Urgency
from fadewatch_collector.rules.notify import (
    FIRST_WAIT,
    GIVE_UP_AFTER,
    LEAST_TRIES,
    LEAVE_ALONE,
    LONGEST_WAIT,
    AlertNow,
    Quiet,
    Route,
    Verdict,
    is_overtaken,
    judge_status,
    leave_alone_until,
    next_try,
)

NIGHT = Quiet(22 * 60, 6 * 60 + 30)
NOON = Quiet(12 * 60, 13 * 60)
minutes = st.integers(0, 24 * 60 - 1)
moments = st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1)).map(  # noqa: DTZ001
    lambda at: at.replace(tzinfo=UTC)
)
draws = st.floats(0, 1, exclude_max=True)


def at(text: str) -> datetime:
    return datetime.fromisoformat(f"2026-03-{text}+00:00")


def route(
    urgencies: tuple[Urgency, ...] = URGENCIES,
    sites: tuple[str, ...] | None = None,
    quiet: Quiet | None = None,
) -> Route:
    return Route(1, "desk", "mail", "desk@example.org", None, urgencies, sites, quiet)


@pytest.mark.parametrize(
    ("quiet", "now", "ends"),
    [
        (NIGHT, "02T21:59:59", None),
        (NIGHT, "02T22:00", "03T06:30"),
        (NIGHT, "02T23:45:10", "03T06:30"),
        (NIGHT, "03T00:00", "03T06:30"),
        (NIGHT, "03T06:29:59.5", "03T06:30"),
        (NIGHT, "03T06:30", None),
        (NOON, "02T11:59", None),
        (NOON, "02T12:00", "02T13:00"),
        (NOON, "02T13:00", None),
        (Quiet(60, 0), "02T23:30", "03T00:00"),
    ],
)
def test_quiet_hours_end_at_their_end_and_may_span_midnight(
    quiet: Quiet, now: str, ends: str | None
) -> None:
    assert quiet.ends(at(now)) == (ends and at(ends))


@given(minutes, minutes, moments)
def test_quiet_is_over_when_it_ends_and_within_a_day(
    begin: int, end: int, now: datetime
) -> None:
    assume(begin != end)
    quiet = Quiet(begin, end)

    ends = quiet.ends(now)

    if ends is not None:
        assert now < ends <= now + timedelta(days=1)
        assert (ends.hour * 60 + ends.minute, ends.second) == (end, 0)
        assert quiet.ends(ends) is None


@given(minutes, minutes, moments)
def test_a_moment_is_quiet_in_just_one_of_two_halves_of_the_day(
    begin: int, end: int, now: datetime
) -> None:
    assume(begin != end)

    in_one = Quiet(begin, end).ends(now) is not None
    in_other = Quiet(end, begin).ends(now) is not None

    assert in_one != in_other


def test_quiet_hours_hold_back_everything_but_stop_use() -> None:
    night = route(quiet=NIGHT)
    now = at("02T23:00")

    assert night.not_before("stop-use", now) == now
    assert night.not_before("act", now) == at("03T06:30")
    assert night.not_before("digest", now) == at("03T06:30")
    assert route().not_before("act", now) == now


def test_a_route_wants_its_urgencies_and_sites_only() -> None:
    narrow = route(("stop-use", "act"), ("North",))

    assert narrow.wants("act", "North")
    assert not narrow.wants("plan", "North")
    assert not narrow.wants("act", "South")
    assert not narrow.wants("act", None)
    assert route().wants("note", None)


@pytest.mark.parametrize(
    ("state", "urgency", "reopened", "overtaken"),
    [
        ("open", "act", 0, False),
        ("acknowledged", "act", 0, False),
        ("planned", "plan", 0, False),
        ("ended", "act", 0, True),
        ("open", "stop-use", 0, True),
        ("open", "act", 1, True),
    ],
)
def test_an_alert_that_ended_rose_or_opened_again_overtakes_its_message(
    state: AlertState, urgency: Urgency, reopened: int, overtaken: bool
) -> None:
    alert = AlertNow(state, urgency, reopened)

    assert is_overtaken("act", "act", 0, alert) is overtaken


def test_nothing_overtakes_stop_use() -> None:
    assert not is_overtaken("stop-use", "stop-use", 0, AlertNow("ended", "act", 3))
    assert not is_overtaken("stop-use", "stop-use", 0, None)
    assert is_overtaken("act", "act", 0, None)


NOW = at("02T09:00")


@given(draws, st.integers(1, 200))
def test_the_wait_is_random_up_to_a_bound_that_doubles(draw: float, tries: int) -> None:
    found = next_try(written_at=NOW, tries=tries, now=NOW, draw=draw)

    bound = min(LONGEST_WAIT, FIRST_WAIT * 2 ** min(tries - 1, 12))
    assert found is not None
    assert NOW <= found <= NOW + bound
    assert abs(found - NOW - draw * bound) < timedelta(milliseconds=1)


@given(draws, st.floats(0, 10), st.integers(0, 3600))
def test_no_try_comes_before_the_receiver_asked_for_it(
    draw: float, age_hours: float, asked_s: int
) -> None:
    asked = timedelta(seconds=asked_s)
    found = next_try(
        written_at=NOW - timedelta(hours=age_hours),
        tries=3,
        now=NOW,
        draw=draw,
        retry_after=asked,
    )

    assert found is not None
    assert NOW + asked <= found <= NOW + asked + 4 * FIRST_WAIT


def test_a_message_is_given_up_after_three_days() -> None:
    def after(age: timedelta, tries: int) -> datetime | None:
        return next_try(written_at=NOW - age, tries=tries, now=NOW, draw=0.5)

    assert after(GIVE_UP_AFTER - timedelta(hours=2), 90) is not None
    assert after(GIVE_UP_AFTER + timedelta(minutes=1), 90) is None


def test_an_old_message_is_still_tried_a_few_times() -> None:
    old = NOW - timedelta(days=9)

    assert next_try(written_at=old, tries=1, now=NOW, draw=0.5) is not None
    assert next_try(written_at=old, tries=LEAST_TRIES, now=NOW, draw=0.5) is None


def test_a_receiver_that_asks_for_more_than_is_left_gets_nothing_more() -> None:
    found = next_try(
        written_at=NOW, tries=1, now=NOW, draw=0.0, retry_after=timedelta(days=4)
    )

    assert found is None


def test_a_receiver_that_failed_is_left_alone_for_a_minute_at_most() -> None:
    soon, late = NOW + timedelta(seconds=20), NOW + timedelta(minutes=40)

    assert leave_alone_until(NOW, soon, None) == soon
    assert leave_alone_until(NOW, late, None) == NOW + LEAVE_ALONE
    assert leave_alone_until(NOW, late, timedelta(minutes=39)) == late


@pytest.mark.parametrize(
    ("statuses", "verdict"),
    [
        ((200, 201, 202, 204), "accepted"),
        ((408, 425, 429, 500, 502, 503, 504), "later"),
        ((301, 302, 307, 308, 400, 401, 403, 404, 410, 413, 422), "refused"),
    ],
)
def test_an_answer_is_a_yes_a_not_now_or_a_no(
    statuses: tuple[int, ...], verdict: Verdict
) -> None:
    assert {judge_status(status) for status in statuses} == {verdict}
