"""Which pack sat in a slot from when to when."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.rules.slots import (
    Stay,
    cut_last,
    see_empty,
    see_pack,
    stay_after,
    stay_at,
)

DAY = timedelta(days=1)


def day(number: int) -> datetime:
    return datetime(2026, 1, 1, tzinfo=UTC) + number * DAY


def test_first_sight_opens_a_stay() -> None:
    assert see_pack([], 7, day(1)) == [Stay(7, day(1), day(1))]


def test_seeing_the_same_pack_again_only_moves_the_last_sight() -> None:
    stays = see_pack(see_pack([], 7, day(1)), 7, day(5))

    assert stays == [Stay(7, day(1), day(5))]


def test_another_pack_closes_the_stay_and_opens_its_own() -> None:
    stays = see_pack([Stay(7, day(1), day(5))], 8, day(6))

    assert stays == [Stay(7, day(1), day(5), day(6)), Stay(8, day(6), day(6))]


def test_an_empty_slot_ends_the_stay() -> None:
    assert see_empty([Stay(7, day(1), day(5))], day(6)) == [
        Stay(7, day(1), day(5), day(6))
    ]


def test_a_late_empty_sight_changes_nothing() -> None:
    assert see_empty([Stay(7, day(1), day(5))], day(4)) == [Stay(7, day(1), day(5))]


def test_a_pack_that_returns_gets_a_second_stay() -> None:
    stays = see_pack(see_empty([Stay(7, day(1), day(5))], day(6)), 7, day(9))

    assert stays == [Stay(7, day(1), day(5), day(6)), Stay(7, day(9), day(9))]


def test_a_late_sight_before_the_first_stay_begins_it_earlier() -> None:
    assert see_pack([Stay(7, day(3), day(5))], 7, day(1)) == [Stay(7, day(1), day(5))]


def test_a_late_sight_of_the_old_pack_after_the_swap_was_known() -> None:
    known = [Stay(7, day(1), day(3), day(9)), Stay(8, day(9), day(12))]

    assert see_pack(known, 7, day(6)) == [
        Stay(7, day(1), day(6), day(9)),
        Stay(8, day(9), day(12)),
    ]


def test_a_late_sight_of_a_pack_nobody_knew_is_put_between() -> None:
    known = [Stay(7, day(1), day(3), day(9)), Stay(8, day(9), day(12))]

    assert see_pack(known, 5, day(6)) == [
        Stay(7, day(1), day(3), day(6)),
        Stay(5, day(6), day(6), day(6)),
        Stay(8, day(9), day(12)),
    ]


def test_a_late_sight_of_another_pack_within_a_stay_splits_it() -> None:
    stays = see_pack([Stay(7, day(1), day(9), key=4)], 8, day(5))

    assert stays == [
        Stay(7, day(1), day(5), day(5), key=4),
        Stay(8, day(5), day(5), day(5)),
        Stay(7, day(5), day(9)),
    ]


def test_a_late_reading_belongs_to_the_stay_begun_before_it() -> None:
    stays = [Stay(7, day(1), day(3), day(4)), Stay(8, day(4), day(9))]

    assert stay_at(stays, day(2)) == stays[0]
    assert stay_at(stays, day(5)) == stays[1]
    assert stay_at(stays, day(0)) == stays[0]
    assert stay_at([], day(0)) is None


sights = st.lists(
    st.tuples(st.integers(1, 3), st.integers(0, 30)), min_size=1, max_size=25
)


@given(sights)
def test_at_most_the_last_stay_is_open_whatever_the_order(
    seen: list[tuple[int, int]],
) -> None:
    stays: list[Stay] = []
    for pack, number in seen:
        stays = see_pack(stays, pack, day(number))

    assert all(stay.until_at is not None for stay in stays[:-1])
    assert stays == sorted(stays, key=lambda stay: stay.from_at)


@given(sights)
def test_every_sight_lies_in_a_stay_of_its_pack(seen: list[tuple[int, int]]) -> None:
    stays: list[Stay] = []
    for pack, number in seen:
        stays = see_pack(stays, pack, day(number))

    for pack, number in seen:
        assert any(s.pack_id == pack and s.covers(day(number)) for s in stays)


@given(st.lists(st.integers(0, 30), min_size=1))
def test_one_pack_in_any_order_is_one_stay(numbers: list[int]) -> None:
    stays: list[Stay] = []
    for number in numbers:
        stays = see_pack(stays, 1, day(number))

    assert stays == [Stay(1, day(min(numbers)), day(max(numbers)))]


def test_the_stay_after_a_moment_is_the_next_to_begin() -> None:
    stays = [Stay(7, day(1), day(5), day(6)), Stay(8, day(6), day(9))]

    assert stay_after(stays, day(3)) == stays[1]
    assert stay_after(stays, day(6)) is None


def test_a_stay_is_cut_where_another_pack_turns_out_to_begin() -> None:
    stays = [Stay(7, day(1), day(9), key=3)]

    assert cut_last(stays, 8, day(5), day(6)) == [
        Stay(7, day(1), day(5), day(6), key=3),
        Stay(8, day(6), day(9)),
    ]


def test_a_stay_that_was_another_packs_from_its_start_changes_hands() -> None:
    stays = [Stay(7, day(1), day(3), day(4)), Stay(7, day(6), day(9), key=5)]

    assert cut_last(stays, 8, day(3), day(6))[1] == Stay(8, day(6), day(9), key=5)
