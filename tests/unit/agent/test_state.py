"""What is remembered between runs."""

import os
import stat
from pathlib import Path

import pytest

from fadewatch_agent.state import (
    ensure_folder,
    only_one,
    read_record,
    write_record,
)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_record_comes_back(tmp_path: Path) -> None:
    file = tmp_path / "state.json"
    write_record(file, {"a": "é", "b": None})
    write_record(file, {"a": 1})

    assert read_record(file) == {"a": 1}
    assert [path.name for path in tmp_path.iterdir()] == ["state.json"]


def test_a_record_is_for_its_owner_alone(tmp_path: Path) -> None:
    file = tmp_path / "state.json"
    (tmp_path / "state.json.new").write_text("left behind")
    (tmp_path / "state.json.new").chmod(0o666)

    write_record(file, {})

    assert mode(file) == 0o600


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="root gives away")
def test_what_root_writes_belongs_to_the_owner_of_the_folder(tmp_path: Path) -> None:
    os.chown(tmp_path, 54_321, 54_322)

    write_record(tmp_path / "state.json", {})
    with only_one(tmp_path) as alone:
        assert alone

    for name in ("state.json", "lock"):
        told = (tmp_path / name).stat()
        assert (told.st_uid, told.st_gid) == (54_321, 54_322)


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff", b"null"])
def test_a_damaged_record_is_an_empty_one(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "state.json").write_bytes(content)

    assert read_record(tmp_path / "state.json") == {}


def test_a_missing_record_is_an_empty_one(tmp_path: Path) -> None:
    assert read_record(tmp_path / "state.json") == {}


def test_the_folder_is_made_for_its_owner_alone(tmp_path: Path) -> None:
    folder = tmp_path / "a/b"
    ensure_folder(folder)
    ensure_folder(folder)

    assert mode(folder) == 0o700


def test_the_lock_is_held_by_one_and_given_back(tmp_path: Path) -> None:
    with only_one(tmp_path) as first, only_one(tmp_path) as second:
        assert (first, second) == (True, False)
    with only_one(tmp_path) as third:
        assert third is True
