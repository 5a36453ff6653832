"""Names, passwords and roles of operators."""

import pytest

from fadewatch_collector.rules.operators import (
    at_least,
    clean_name,
    name_problem,
    password_problem,
)


@pytest.mark.parametrize(
    "name", [" Mira", "MIRA", "mira ", "\N{FULLWIDTH LATIN CAPITAL LETTER M}ira"]
)
def test_one_person_has_one_spelling(name: str) -> None:
    assert clean_name(name) == "mira"


@pytest.mark.parametrize("name", ["", "a" * 65, "a\nb", "a\x00"])
def test_names_that_cannot_be_used_are_refused(name: str) -> None:
    assert name_problem(name) is not None


@pytest.mark.parametrize(
    "password",
    [
        "short", "x" * 300, "aaaaaaaaaaaaaaaa", "mira-the-great1234",
        "password1234", "qwertyuiop12", "Fadewatch2026!", "technician2026",
        "abcabcabcabcabc", "Administrator1",
    ],
)  # fmt: skip
def test_weak_passwords_are_refused(password: str) -> None:
    assert password_problem("mira-the-great", password) is not None


@pytest.mark.parametrize(
    "password",
    [
        "three boats on a lake",
        "9f8a7c6b5d4e",
        "ein Boot, zwei Ruder",
        "kestrel lamp oboe " * 4,
    ],
)
def test_a_long_phrase_or_a_random_text_is_a_password(password: str) -> None:
    assert password_problem("mira", password) is None


def test_each_role_may_do_what_the_ones_below_may() -> None:
    assert at_least("administrator", "technician")
    assert at_least("viewer", "viewer")
    assert not at_least("viewer", "technician")
