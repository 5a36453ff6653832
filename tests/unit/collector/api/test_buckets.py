"""Rate limits by a clock that the test moves."""

from datetime import timedelta

import pytest

from fadewatch_collector.api.buckets import Buckets, Rate
from fadewatch_collector.errors import TooManyAttempts
from tests.fakes.clock import StandingClock

RATE = Rate(burst=2, per_second=0.5)


def buckets(clock: StandingClock, most: int = 10) -> Buckets[str]:
    return Buckets("calls", RATE, clock, most)


def allowed(limits: Buckets[str], caller: str, calls: int) -> int:
    """Return how many of some calls get through."""
    done = 0
    for _ in range(calls):
        try:
            limits.take(caller)
        except TooManyAttempts:
            continue
        done += 1
    return done


def test_a_burst_gets_through_and_no_more(clock: StandingClock) -> None:
    assert allowed(buckets(clock), "a", 5) == 2


def test_the_wait_told_is_long_enough(clock: StandingClock) -> None:
    limits = buckets(clock)
    allowed(limits, "a", 2)
    clock.move(timedelta(seconds=0.5))

    with pytest.raises(TooManyAttempts, match="too many calls") as told:
        limits.take("a")

    assert told.value.retry_after_s == pytest.approx(1.5)
    clock.move(timedelta(seconds=told.value.retry_after_s))
    limits.take("a")


def test_a_long_rest_saves_up_one_burst_only(clock: StandingClock) -> None:
    limits = buckets(clock)
    allowed(limits, "a", 2)
    clock.move(timedelta(days=1))

    assert allowed(limits, "a", 5) == 2


def test_callers_do_not_use_up_each_others_tokens(clock: StandingClock) -> None:
    limits = buckets(clock)

    assert [allowed(limits, caller, 3) for caller in "ab"] == [2, 2]


def test_a_clock_set_back_takes_nothing_away(clock: StandingClock) -> None:
    limits = buckets(clock)
    limits.take("a")
    clock.move(timedelta(days=-1))

    assert allowed(limits, "a", 3) == 1


def test_the_caller_seen_longest_ago_is_forgotten_first(clock: StandingClock) -> None:
    limits = buckets(clock, most=2)
    for caller in "aabb":
        limits.take(caller)

    assert allowed(limits, "c", 3) == 2
    assert allowed(limits, "b", 1) == 0
    assert allowed(limits, "a", 3) == 2
