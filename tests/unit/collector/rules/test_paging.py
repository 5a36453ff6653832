"""Places in long lists as short texts."""

import base64
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.paging import (
    AlertKey,
    DueKey,
    RankedKey,
    alert_cursor,
    alert_key,
    due_cursor,
    due_key,
    laptop_cursor,
    laptop_key,
    number_cursor,
    number_key,
    ranked_cursor,
    ranked_key,
)

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MOMENTS = st.timedeltas(timedelta(0), timedelta(days=300_000)).map(EPOCH.__add__)
IDS = st.integers(1, 2**63 - 1)


@given(st.integers(0, 3), MOMENTS, IDS)
def test_a_place_in_the_alert_list_comes_back_as_it_was(
    rank: int, opened_at: datetime, number: int
) -> None:
    key = AlertKey(rank, opened_at, number)

    assert alert_key(alert_cursor(key)) == key


@given(IDS)
def test_a_place_in_the_laptop_list_comes_back_as_it_was(number: int) -> None:
    assert laptop_key(laptop_cursor(number)) == number


@given(IDS)
def test_a_place_in_a_list_by_number_comes_back_and_fits_no_other_list(
    number: int,
) -> None:
    cursor = number_cursor("swaps", number)

    assert number_key("swaps", cursor) == number
    with pytest.raises(InvalidRequest):
        number_key("packs", cursor)


@pytest.mark.parametrize("number", [2**63, 10**18 * 9 + 10**18 - 1])
def test_a_number_that_nothing_has_is_refused(number: int) -> None:
    with pytest.raises(InvalidRequest):
        number_key("swaps", number_cursor("swaps", number))


@given(st.text(max_size=60))
def test_any_other_text_is_refused_in_words(text: str) -> None:
    for read in (alert_key, laptop_key):
        with pytest.raises(InvalidRequest):
            read(text)


@given(st.integers(0, 10**20), st.integers(0, 10**20), st.integers(0, 10**20))
def test_numbers_that_no_store_holds_are_refused(
    rank: int, opened_us: int, number: int
) -> None:
    packed = base64.urlsafe_b64encode(f"a.{rank}.{opened_us}.{number}".encode())
    try:
        key = alert_key(packed.decode().rstrip("="))
    except InvalidRequest:
        return
    assert alert_key(alert_cursor(key)) == key
    assert key.id < 2**63


def test_a_place_in_one_list_is_none_in_the_other() -> None:
    with pytest.raises(InvalidRequest):
        alert_key(laptop_cursor(3))


@pytest.mark.parametrize(
    ("read", "cursor"),
    [
        (alert_key, alert_cursor(AlertKey(0, EPOCH, 2**63))),
        (laptop_key, laptop_cursor(2**63)),
        (ranked_key, ranked_cursor(RankedKey(1, 2**63))),
        (due_key, due_cursor(DueKey(1, 2**63))),
    ],
)
def test_a_number_beyond_any_row_is_refused(
    read: Callable[[str], object], cursor: str
) -> None:
    with pytest.raises(InvalidRequest):
        read(cursor)


@given(st.integers(0, 9_999), IDS)
def test_places_in_ranked_lists_and_lists_of_visits_come_back(
    rank: int, number: int
) -> None:
    ranked, due = RankedKey(rank, number), DueKey(rank % 3, number)

    assert ranked_key(ranked_cursor(ranked)) == ranked
    assert due_key(due_cursor(due)) == due
