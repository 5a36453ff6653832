"""Slow files begin first, and names of tests do not change with the time."""

from pathlib import Path

import pytest

from tests.running_order import SLOWEST, told_the_time, turn

ROOT = Path(__file__).parents[2]
NOW = 1_795_000_000.5


@pytest.mark.parametrize("file", SLOWEST)
def test_every_file_that_begins_first_is_there(file: str) -> None:
    assert (ROOT / file).is_file()


def test_slow_files_begin_first_and_the_others_keep_their_order() -> None:
    ids = ["tests/a.py::b", f"{SLOWEST[1]}::x", "tests/a.py::a", f"{SLOWEST[0]}::y[1]"]

    assert sorted(ids, key=turn) == [ids[3], ids[1], ids[0], ids[2]]


@pytest.mark.parametrize(
    "name", ["t.py::t[1795000000]", "t.py::t[at-1795000700.25-late]"]
)
def test_an_id_that_holds_the_present_time_is_named(name: str) -> None:
    assert told_the_time(["t.py::t[0]", name], NOW) == [name]


@pytest.mark.parametrize(
    "name", ["t.py::t[1500000000]", "t.py::t[2026-11-18]", "t.py::t[179500]"]
)
def test_other_numbers_are_welcome(name: str) -> None:
    assert told_the_time([name], NOW) == []
