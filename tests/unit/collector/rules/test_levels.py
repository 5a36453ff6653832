"""Whether newest readings jumped to another pack's level."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.rules.levels import Level, began_counting, find_jump, leapt

DAY = timedelta(days=1)
START = datetime(2026, 3, 1, tzinfo=UTC)


def levels(*shares: float, cycles: int | None = None) -> list[Level]:
    return [
        Level(START + day * DAY, round(57000 * share), share, cycles)
        for day, share in enumerate(shares)
    ]


@pytest.mark.parametrize(
    ("shares", "day"),
    [
        ([0.70] * 5 + [0.99] * 3, 5),
        ([0.55] * 5 + [0.81] * 3, 5),  # a used pack, far better than the old one
        ([0.70] * 8 + [1.15] + [0.70] * 2 + [0.97] * 3, 11),  # after a senseless one
        ([0.70] * 5 + [0.99] * 2, None),
        ([0.70] * 3 + [0.99] * 3, None),
        ([0.90] * 5 + [0.99] * 3, None),
        ([0.70] * 5 + [0.85] * 3, None),
        ([0.99] * 9 + [0.80] * 4 + [0.99] * 3, None),
        ([0.99] * 5 + [0.70] * 3, None),
    ],
)
def test_a_jump_is_one_that_several_readings_bear_out(
    shares: list[float], day: int | None
) -> None:
    jump = find_jump(levels(*shares))

    assert (jump and jump.since) == (None if day is None else START + day * DAY)


@pytest.mark.parametrize(
    ("before", "after", "is_jump"),
    [(0.89, 0.98, True), (0.98, 0.85, True), (0.60, 0.75, True), (0.98, 0.92, False)],
)
def test_where_counting_ends_a_smaller_change_is_a_jump(
    before: float, after: float, is_jump: bool
) -> None:
    counted = levels(*[before] * 6, cycles=110)
    uncounted = levels(*[before] * 6, *[after] * 3)[6:]

    assert (find_jump(counted + uncounted) is not None) is is_jump
    assert find_jump(levels(*[before] * 6, *[after] * 3, cycles=110)) is None


@pytest.mark.parametrize(
    ("cycles", "share", "is_other"),
    [(388, 0.30, True), (388, 0.70, False), (2, 0.98, False), (None, 0.30, False)],
)
def test_where_counting_begins_with_another_level_it_is_another_pack(
    cycles: int | None, share: float, is_other: bool
) -> None:
    assert began_counting(levels(*[0.75] * 5), cycles, share) is is_other
    assert not began_counting(levels(*[0.75] * 5, cycles=40), cycles, share)


def test_the_last_reading_before_a_jump_is_told() -> None:
    known = levels(*[0.70] * 5, *[0.99] * 3)
    jump = find_jump(known)

    assert jump is not None
    assert jump.last == known[4]


@given(
    st.lists(st.floats(0.3, 1.05), min_size=7, max_size=24),
    st.floats(0.0, 0.079),
)
def test_a_pack_that_only_fades_never_jumps(shares: list[float], back: float) -> None:
    falling = sorted(shares, reverse=True)
    falling[-1] += back

    assert find_jump(levels(*falling)) is None


@pytest.mark.parametrize(
    ("cycles", "days", "is_leap"),
    [
        (103, 1, False),
        (111, 1, False),
        (112, 1, True),
        (190, 30, False),
        (300, 30, True),
        (357, 1, False),  # 101 cut to 8 bits, now told whole
        (None, 1, False),
        (40, 1, False),
    ],
)
def test_cycles_leap_when_no_pack_can_do_so_many(
    cycles: int | None, days: int, is_leap: bool
) -> None:
    known = levels(0.8, cycles=100)

    assert leapt(known, cycles, START + days * DAY) is is_leap
    assert not leapt([], cycles, START)
