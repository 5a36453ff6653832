"""The key, and whose it is."""

from pathlib import Path
from typing import Any

import pytest

from fadewatch_agent.configuration import Settings, settings_from
from fadewatch_agent.enrolment import (
    FILE,
    Enrolment,
    has_another_token,
    kept_enrolment,
    token_mark,
)
from fadewatch_agent.state import write_record
from fadewatch_common.report import Laptop

UUID, OTHER_UUID = (
    "6f1d3a52-8a3e-4f0a-9c11-aabbccddeeff",
    "6f1d3a52-8a3e-4f0a-9c11-aabbccddee00",
)
RECORD: dict[str, Any] = {
    "collector": "https://fade.example",
    "laptop_id": 417,
    "key": "k",
    "serial": "TH4X9Q7K",
    "board_uuid": UUID,
}


def enrolment(serial: str | None, uuid: str | None) -> Enrolment:
    return Enrolment("https://fade.example", 417, "k", serial, uuid)


@pytest.mark.parametrize(
    ("then", "now", "same"),
    [
        (("TH4X9Q7K", UUID), ("TH4X9Q7K", UUID), True),
        (("TH4X9Q7K", UUID), ("TH4X9Q7K", OTHER_UUID), False),
        (("TH4X9Q7K", UUID), ("TH000000", UUID), False),
        # What was not told once, as without root, says nothing.
        (("TH4X9Q7K", UUID), (None, None), True),
        ((None, None), ("TH4X9Q7K", UUID), True),
        # Placeholders are the same on thousands of laptops, or change at a repair.
        (("To be filled by O.E.M.", UUID), ("TH4X9Q7K", UUID), True),
        (
            ("TH4X9Q7K", "ffffffff-ffff-ffff-ffff-ffffffffffff"),
            ("TH4X9Q7K", UUID),
            True,
        ),
    ],
)
def test_an_enrolment_belongs_to_the_laptop_it_was_made_on(
    then: tuple[str | None, str | None],
    now: tuple[str | None, str | None],
    same: bool,
) -> None:
    laptop = Laptop(serial=now[0], board_uuid=now[1])

    assert enrolment(*then).is_of(laptop) is same


def test_an_enrolment_comes_back(tmp_path: Path) -> None:
    write_record(tmp_path / FILE, RECORD)

    assert kept_enrolment(tmp_path) == Enrolment(**RECORD)


@pytest.mark.parametrize("name", ["collector", "laptop_id", "key"])
@pytest.mark.parametrize("value", [None, "", [], -7, True])
def test_an_enrolment_with_a_part_missing_is_none(
    tmp_path: Path, name: str, value: object
) -> None:
    write_record(tmp_path / FILE, RECORD | {name: value})

    assert kept_enrolment(tmp_path) is None


def test_odd_traits_of_the_laptop_are_none(tmp_path: Path) -> None:
    write_record(tmp_path / FILE, RECORD | {"serial": 7, "board_uuid": ["x"]})

    kept = kept_enrolment(tmp_path)

    assert kept is not None
    assert (kept.serial, kept.board_uuid) == (None, None)


def test_without_a_file_there_is_no_enrolment(tmp_path: Path) -> None:
    assert kept_enrolment(tmp_path) is None


def told(state: Path, **values: str) -> Settings:
    return settings_from({"state": str(state), **values})


def test_without_a_token_there_is_no_other_token(tmp_path: Path) -> None:
    none = tmp_path / "none"

    assert not has_another_token(Settings(state=tmp_path))
    assert not has_another_token(Settings(state=tmp_path, token_file=none))
    assert not has_another_token(told(tmp_path, token=" "))  # noqa: S106


def test_the_token_that_gave_the_key_is_no_other_token(tmp_path: Path) -> None:
    write_record(tmp_path / FILE, RECORD | {"token_mark": token_mark("word")})

    assert not has_another_token(told(tmp_path, token="word"))  # noqa: S106
    assert has_another_token(told(tmp_path, token="other"))  # noqa: S106


@pytest.mark.parametrize(
    ("file", "setting", "other"),
    [("word\n", "new", False), ("\n", "new", True), ("new", "word", True)],
)
def test_the_file_comes_before_the_setting_unless_it_is_blank(
    tmp_path: Path, file: str, setting: str, *, other: bool
) -> None:
    write_record(tmp_path / FILE, RECORD | {"token_mark": token_mark("word")})
    (tmp_path / "token").write_text(file)
    settings = told(tmp_path, token_file=str(tmp_path / "token"), token=setting)

    assert has_another_token(settings) is other
