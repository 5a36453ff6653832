"""`export fleet` writes a whole file or none."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fadewatch_collector.cli.export import export_group
from fadewatch_collector.usecases.exports import FLEET_CSV_COLUMNS

HEADER = ",".join(FLEET_CSV_COLUMNS).encode() + b"\r\n"


@pytest.fixture
def data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "data"
    monkeypatch.setenv("FADEWATCH_DATA_FOLDER", str(folder))
    monkeypatch.delenv("FADEWATCH_DATABASE_URL", raising=False)
    return folder


def run(*arguments: str) -> Result:
    return CliRunner().invoke(export_group, ["fleet", *arguments])


@pytest.mark.usefixtures("data_folder")
def test_the_fleet_is_written_to_a_file(tmp_path: Path) -> None:
    out = tmp_path / "fleet.csv"

    result = run("--out", str(out))

    assert (result.exit_code, result.output) == (0, "")
    assert out.read_bytes() == HEADER
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["fleet.csv"]


@pytest.mark.usefixtures("data_folder")
def test_a_dash_writes_to_standard_output() -> None:
    result = run("--out", "-")

    assert (result.exit_code, result.stdout_bytes) == (0, HEADER)


@pytest.mark.usefixtures("data_folder")
def test_a_byte_order_mark_is_written_when_asked_for(tmp_path: Path) -> None:
    out = tmp_path / "fleet.csv"

    run("--out", str(out), "--byte-order-mark")

    assert out.read_bytes() == b"\xef\xbb\xbf" + HEADER


@pytest.mark.usefixtures("data_folder")
def test_a_file_that_was_there_is_replaced(tmp_path: Path) -> None:
    out = tmp_path / "fleet.csv"
    out.write_bytes(b"yesterday")

    assert run("--out", str(out)).exit_code == 0
    assert out.read_bytes() == HEADER


@pytest.mark.usefixtures("data_folder")
def test_a_folder_that_is_missing_is_one_line_and_exit_code_1(tmp_path: Path) -> None:
    result = run("--out", str(tmp_path / "missing" / "fleet.csv"))

    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert "cannot be written" in result.stderr


def test_an_export_that_fails_leaves_the_old_file(
    tmp_path: Path, data_folder: Path
) -> None:
    out = tmp_path / "fleet.csv"
    out.write_bytes(b"yesterday")
    data_folder.mkdir()
    (data_folder / "fadewatch.sqlite3").write_bytes(b"not a database, " * 100)

    assert run("--out", str(out)).exit_code == 1
    assert out.read_bytes() == b"yesterday"
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["fleet.csv"]


@pytest.mark.usefixtures("data_folder")
def test_a_pipe_is_written_into_and_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with subprocess.Popen(
        [sys.executable, "-c", f"print(open({str(pipe)!r}, 'rb').read())"],
        stdout=subprocess.PIPE,
    ) as reader:
        result = run("--out", str(pipe))
        read, _ = reader.communicate(timeout=20)

    assert result.exit_code == 0
    assert read == repr(HEADER).encode() + b"\n"
    assert pipe.is_fifo()
