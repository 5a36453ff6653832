"""Files of places, row by row, and what they would change."""

from collections.abc import Mapping

import pytest

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules import places
from fadewatch_collector.rules.places import (
    KnownPlace,
    PlaceRow,
    match_key,
    plan_import,
    read_places,
)

HERE = {"asset_tag": "T-1", "holder": "Ada Quill", "site": "North"}


def known(*values: Mapping[str, str | None]) -> dict[str, list[KnownPlace]]:
    there = [KnownPlace(7 + n, "SN 1", one) for n, one in enumerate(values)]
    return {match_key("SN 1"): there}


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("\ufefflaptop_serial,site\nS,North\n", "byte order mark"),
        ("serial,site\n", "must name laptop_serial"),
        ("", "it has: nothing"),
        ("laptop_serial\nS\n", "none of asset_tag, holder, site"),
        ("laptop_serial,site\nS\n", "line 2 has 1 cells, the first line 2"),
        ('laptop_serial,site\n"S,North\n', "save it as CSV with commas"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_what_to_do(
    text: str, why: str
) -> None:
    with pytest.raises(InvalidRequest, match=why):
        read_places(text.splitlines(keepends=True))


def test_a_file_of_too_many_rows_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(places, "LARGEST_FILE", 2)

    with pytest.raises(InvalidRequest, match="over 2 rows; split it"):
        read_places(["laptop_serial,site\n", "A,N\n", "B,N\n", "C,N\n"])


def test_rows_without_anything_in_them_are_passed_over() -> None:
    rows = read_places(["laptop_serial,site\n", " ,\n", "S,'=North\n"])

    assert rows == [PlaceRow(3, "S", {"site": "=North"})]


def test_a_row_changes_what_it_names_and_nothing_else() -> None:
    rows = [PlaceRow(2, "sn1", {"site": "South"})]

    plan = plan_import(rows, known(HERE))

    (change,) = plan.changes
    assert (change.laptop_id, change.before, change.after) == (
        7,
        {"site": "North"},
        {"site": "South"},
    )


def test_rows_that_change_nothing_or_match_nobody_are_counted() -> None:
    same, other = (PlaceRow(2, "SN1", {"site": "North"}), PlaceRow(3, "X", {}))

    plan = plan_import([same, other], known(HERE))

    assert (plan.changes, plan.unchanged, plan.unmatched) == ((), 1, (other,))


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (PlaceRow(4, "", {}), "line 4: laptop_serial is empty"),
        (PlaceRow(4, "SN1", {"site": "x" * 201}), "site is longer than 200"),
        (PlaceRow(4, "SN1", {"site": "No\x07rth"}), "cannot be shown"),
    ],
)
def test_a_row_that_cannot_be_taken_says_why(row: PlaceRow, why: str) -> None:
    (problem,) = plan_import([row], known(HERE)).problems

    assert why in problem


def test_a_serial_that_stands_twice_or_belongs_to_two_is_left_to_people() -> None:
    row = PlaceRow(2, "SN1", {"site": "South"})
    twice = plan_import([row, PlaceRow(3, "sn 1", {"site": "East"})], known(HERE))
    shared = plan_import([row], known(HERE, HERE))

    assert twice.problems == ("line 3: the serial stands in line 2 already",)
    assert shared.problems == ("line 2: 2 laptops have this serial; set them by hand",)
