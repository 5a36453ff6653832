"""How often a sign-in may be tried."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.web.limits import (
    ACCOUNT_BURST,
    ACCOUNT_EVERY_S,
    ADDRESS_BURST,
    SignInLimits,
    TokenBuckets,
    network_of,
)


def test_a_burst_is_let_through_and_then_one_has_to_wait() -> None:
    buckets = TokenBuckets(burst=3, every_s=10)

    assert [buckets.take("a", 0.0) for _ in range(4)] == [0.0, 0.0, 0.0, 10.0]


def test_waiting_as_long_as_told_is_enough() -> None:
    buckets = TokenBuckets(burst=1, every_s=10)
    buckets.take("a", 0.0)

    wait = buckets.take("a", 4.0)

    assert wait == pytest.approx(6.0)
    assert buckets.take("a", 4.0 + wait) == 0.0


def test_a_long_rest_gives_no_more_than_a_burst() -> None:
    buckets = TokenBuckets(burst=2, every_s=10)
    buckets.take("a", 0.0)

    assert [buckets.take("a", 1e6) == 0.0 for _ in range(3)] == [True, True, False]


def test_keys_do_not_share() -> None:
    buckets = TokenBuckets(burst=1, every_s=10)

    assert buckets.take("a", 0.0) == 0.0
    assert buckets.take("b", 0.0) == 0.0


def test_what_is_remembered_is_bounded_and_the_longest_unused_goes() -> None:
    buckets = TokenBuckets(burst=1, every_s=1000, most_keys=2)
    for key in ("a", "b", "c"):
        buckets.take(key, 0.0)

    assert buckets.take("c", 0.0) > 0
    assert buckets.take("a", 0.0) == 0.0


def test_a_clock_that_goes_back_gives_nothing_away() -> None:
    buckets = TokenBuckets(burst=1, every_s=10)
    buckets.take("a", 100.0)

    assert buckets.take("a", 0.0) == pytest.approx(10.0)


@given(st.lists(st.floats(0, 50), min_size=1, max_size=60), st.integers(1, 5))
def test_no_more_than_the_burst_and_the_pace_ever_get_through(
    pauses: list[float], burst: int
) -> None:
    buckets, now, through = TokenBuckets(burst, every_s=10), 0.0, 0
    for pause in pauses:
        now += pause
        through += buckets.take("a", now) == 0.0

    assert through <= burst + now / 10 + 1e-9


def test_one_account_is_limited_from_however_many_addresses() -> None:
    limits = SignInLimits()

    waits = [limits.take("mira", f"192.0.2.{n}", 0.0) for n in range(ACCOUNT_BURST + 1)]

    assert waits == [0.0] * ACCOUNT_BURST + [ACCOUNT_EVERY_S]


def test_one_address_is_limited_over_however_many_accounts() -> None:
    limits = SignInLimits()

    waits = [limits.take(f"n{n}", "192.0.2.1", 0.0) for n in range(ADDRESS_BURST + 1)]

    assert not any(waits[:-1])
    assert waits[-1] > 0


def test_success_does_not_count() -> None:
    limits = SignInLimits()

    for _ in range(10 * ADDRESS_BURST):
        assert limits.take("mira", "192.0.2.1", 0.0) == 0.0
        limits.succeeded("mira", "192.0.2.1", 0.0)


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("", ""),
    ],
)
def test_addresses_that_one_subscriber_can_change_count_as_one(
    address: str, network: str
) -> None:
    assert network_of(address) == network


def test_a_stranger_who_tries_on_purpose_does_not_shut_out_a_known_browser() -> None:
    limits = SignInLimits()
    for number in range(1000):
        limits.take("ada", f"203.0.113.{number % 250}", float(number))

    shut_out = limits.take("ada", "198.51.100.7", 1000.0)
    known = [limits.take("ada", "203.0.113.1", 1000.0, "her browser")]
    known += [
        limits.take("ada", "203.0.113.1", 1000.0, "her browser") for _ in range(5)
    ]

    assert shut_out > 0
    # A known browser has a limit of its own: who stole it does not guess freely.
    assert known[:5] == [0.0] * 5
    assert known[5] > 0
