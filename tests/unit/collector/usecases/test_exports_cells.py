"""How one cell of the fleet CSV is written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.usecases.exports import drive_text, guarded, size_text

# OWASP ASVS 5.0, 1.2.10: = + - @ tab NUL; OWASP's page adds CR, LF and full width.
SIGNS = ["=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20"]
CONTROLS = ["\t", "\0", "\r", "\n"]


def unguarded(cell: str) -> str:
    """Take the apostrophe away again, as a reader who knows the rule does."""
    return cell[1:] if cell[:1] == "'" and guarded(cell) != cell else cell


@pytest.mark.parametrize("start", SIGNS + CONTROLS)
def test_text_that_could_be_a_formula_gets_an_apostrophe(start: str) -> None:
    assert guarded(start + "1+1") == "'" + start + "1+1"


@pytest.mark.parametrize("start", SIGNS)
def test_leading_blanks_do_not_hide_a_formula(start: str) -> None:
    assert guarded(" \u00a0" + start + "1+1") == "' \u00a0" + start + "1+1"


@pytest.mark.parametrize(
    "text",
    ["", "BAT0", "00123", "a=b", "'s-Hage", " plain", "1-2", "\u00e9", "\U0001f50b"],
)
def test_other_text_is_left_alone(text: str) -> None:
    assert guarded(text) == text


def test_a_formula_behind_an_apostrophe_gets_another_one() -> None:
    assert guarded("'=1+1") == "''=1+1"


@given(st.text() | st.text(st.sampled_from([*SIGNS, *CONTROLS, *" 'a1"])))
def test_taking_the_apostrophe_away_gives_the_text_back(text: str) -> None:
    assert unguarded(guarded(text)) == text


@pytest.mark.parametrize(
    ("size_bytes", "words"),
    [
        (512_110_190_592, "512 GB"),
        (1_000_204_886_016, "1.0 TB"),
        (2_000_398_934_016, "2.0 TB"),
        (31_268_536_320, "31 GB"),
        (8_000_000, "8 MB"),
    ],
)
def test_a_drives_size_is_written_as_it_is_sold(size_bytes: int, words: str) -> None:
    assert size_text(size_bytes) == words


def test_a_drive_is_told_by_what_is_known_of_it() -> None:
    whole = {"name": "sda", "kind": "hdd", "size_bytes": 10**12, "model": "Tarn T1"}

    assert drive_text(whole) == "sda hdd 1.0 TB Tarn T1"
    assert drive_text({"name": "sda", "size_bytes": 10**12}) == "sda 1.0 TB"
