"""What laptops are found by."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.rules.search_terms import (
    TERM_LENGTH,
    WORDS,
    folded,
    terms_by_source,
    terms_of,
    words_sought,
)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("HR-2000", "hr-2000"),
        ("  Ada   of the\tWorkshop ", "ada of the workshop"),
        ("STRASSE", folded("Straße")),  # Unicode 15, section 3.13: full case folding
        (
            "\uff28\uff32\uff12\uff10",
            "hr20",
        ),  # full-width forms are compatibility forms (NFKC)
    ],
)
def test_case_blanks_and_compatibility_forms_do_not_matter(
    typed: str, kept: str
) -> None:
    assert folded(typed) == kept


def test_a_name_is_kept_whole_and_by_its_words() -> None:
    assert terms_of("lt-0417 Pool B") == {"lt-0417 pool b", "lt", "0417", "pool"}


def test_every_term_knows_where_it_comes_from() -> None:
    found = terms_by_source({"serial": ("QK1",), "holder": (None, ""), "tag": ("7",)})

    assert found == {("serial", "qk1"), ("tag", "7")}


def test_a_word_is_looked_for_once_and_not_too_many() -> None:
    assert words_sought("b A b a c d e f") == ("b", "a", "c", "d")
    assert len(words_sought("b A b a c d e f")) == WORDS
    assert words_sought(" \t ") == ()


@given(st.text())
def test_whatever_a_firmware_says_gives_terms_that_are_short_and_folded(
    value: str,
) -> None:
    for term in terms_of(value):
        assert 0 < len(term) <= TERM_LENGTH
        assert folded(term) == term or len(folded(term)) > len(term)
