"""What people may write."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.rules.notes import note_problem


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), min_size=1))
def test_all_that_can_be_shown_may_be_written(text: str) -> None:
    assert note_problem(text, "note", len(text)) is None


def test_lines_may_break() -> None:
    assert note_problem("one\r\ntwo\n\tthree", "note", 50) is None


@pytest.mark.parametrize("sign", ["\0", "\x0b", "\x1b", "\x7f", "\x9f", "\ud800"])
def test_what_cannot_be_shown_is_told(sign: str) -> None:
    problem = note_problem(f"a{sign}b", "reason", 50)

    assert problem == "the reason has characters that cannot be shown"


def test_nothing_and_too_much_are_told() -> None:
    assert note_problem("", "place", 5) == "the place is empty"
    assert note_problem("abcdef", "place", 5) == (
        "the place is longer than 5 characters"
    )
