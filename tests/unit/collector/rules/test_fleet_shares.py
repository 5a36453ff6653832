from datetime import date

import pytest

from fadewatch_collector.rules.fleet_shares import Share, born_before, folded


def share(name: str, **counts: int) -> Share:
    known = {"sound": 0, "plan": 0, "replace": 0, "unknown": 0, "first_seen": 0}
    return Share(key=name, name=name, **(known | counts))


def test_ages_are_parted_at_anniversaries() -> None:
    assert born_before(date(2026, 11, 25))[:2] == [
        date(2025, 11, 25),
        date(2024, 11, 25),
    ]
    assert born_before(date(2028, 2, 29))[0] == date(2027, 2, 28)


def test_what_is_beyond_a_table_is_one_row_at_its_end() -> None:
    found = folded(
        [
            share("a", replace=3),
            share("b", plan=2),
            share("c", sound=4),
            share("d", sound=1),
        ],
        3,
        "other sites",
    )

    assert [(one.name, one.packs) for one in found] == [
        ("a", 3),
        ("b", 2),
        ("2 other sites", 5),
    ]
    assert found[-1].key == ""


def test_a_table_that_fits_is_left_alone() -> None:
    rows = [share("a", sound=1), share("b", sound=1)]

    assert folded(rows, 2, "other sites") == rows


def test_a_share_counts_all_its_packs() -> None:
    assert share("a", sound=1, plan=2, replace=3, unknown=4).packs == pytest.approx(10)
