"""Text and numbers out of kernel files."""

import errno
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.readers.files import (
    SystemFiles,
    clean,
    number,
    read_number,
    read_text,
    reason,
)
from fadewatch_common.bounds import Text


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        (b"  QM57-3S \n", "QM57-3S"),
        (b"", None),
        (b"   \t\n", None),
        (b"\0\0\0\0", None),
        (b"AB\tC  D\0\0", "AB C D"),
        (b"Z\xc3\xa9ta", "Zéta"),
        (b"Z\xe9ta", "Z�ta"),
        (b"\xa0 7", "� 7"),
        ("\udce9x", "x"),
        ("QM\u202e57\u2066-3S\u2028", "QM 57 -3S"),
        ("0", "0"),
    ],
)
def test_text_of_firmware_is_cleaned(raw: bytes | str, text: str | None) -> None:
    assert clean(raw) == text


@given(st.one_of(st.binary(), st.text(st.characters())))
def test_cleaned_text_always_keeps_the_bounds_of_the_wire(raw: bytes | str) -> None:
    text = clean(raw, 20)

    assert text is None or Text(20, min_length=1).problem(text) is None


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("57000000", 57_000_000),
        (" -1\n", -1),
        ("0", 0),
        ("", None),
        (None, None),
        ("-", None),
        ("--1", None),
        ("1_000", None),
        ("١٢", None),
        ("0x1F", None),
        ("1.5", None),
        ("9" * 21, None),
        ("9" * 10_000, None),
    ],
)
def test_only_plain_decimal_numbers_are_numbers(
    text: str | None, value: int | None
) -> None:
    assert number(text) == value


def test_a_missing_file_has_no_text_and_no_number(tmp_path: Path) -> None:
    assert read_text(tmp_path / "none") is None
    assert read_number(tmp_path / "none") is None


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENODEV, "the firmware does not know it (ENODEV)"),
        (errno.ENODATA, "the driver has no value (ENODATA)"),
        (errno.EAGAIN, "the driver was busy (EAGAIN)"),
        (errno.EIO, "the hardware did not answer (EIO)"),
        (errno.EACCES, "permission denied (EACCES)"),
        (errno.EISDIR, "is a directory (EISDIR)"),
    ],
)
def test_reasons_name_the_error(code: int, words: str) -> None:
    assert reason(OSError(code, "")) == words


def test_a_tree_without_a_sys_folder_is_taken_for_sys_itself(tmp_path: Path) -> None:
    (tmp_path / "class/power_supply/BAT0").mkdir(parents=True)

    names = [f.name for f in SystemFiles(tmp_path).folders("class/power_supply")]

    assert names == ["BAT0"]


def test_a_missing_folder_has_no_entries(tmp_path: Path) -> None:
    assert SystemFiles(tmp_path).folders("block") == []
