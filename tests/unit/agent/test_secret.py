"""Where a token comes from."""

import os
from pathlib import Path

import pytest

from fadewatch_agent.errors import InvalidConfiguration
from fadewatch_agent.secret import read_token_descriptor, read_token_file


def test_a_token_comes_from_a_file_without_its_line_end(tmp_path: Path) -> None:
    (tmp_path / "token").write_text(" word\r\n")

    assert read_token_file(tmp_path / "token") == "word"


def test_a_token_comes_from_a_descriptor_which_stays_open() -> None:
    reading, writing = os.pipe()
    os.write(writing, b"word\n")
    os.close(writing)

    assert read_token_descriptor(reading) == "word"
    os.close(reading)


def test_a_token_comes_from_standard_input(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "input").write_text("word\n")
    with (tmp_path / "input").open() as stream:
        monkeypatch.setattr("sys.stdin", stream)

        assert read_token_file(Path("-")) == "word"


@pytest.mark.parametrize("content", ["", "\n", "two words", "wörd", "x" * 5000])
def test_what_is_no_token_is_refused(tmp_path: Path, content: str) -> None:
    (tmp_path / "token").write_text(content)

    with pytest.raises(InvalidConfiguration, match="holds no token") as raised:
        read_token_file(tmp_path / "token")

    assert not content.strip() or content not in str(raised.value)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InvalidConfiguration, match="none"):
        read_token_file(tmp_path / "none")


def test_a_descriptor_that_is_not_open_is_named() -> None:
    with pytest.raises(InvalidConfiguration, match="descriptor 987"):
        read_token_descriptor(987)
