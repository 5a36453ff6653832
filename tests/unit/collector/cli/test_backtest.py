import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fadewatch_collector.cli.backtest import backtest_command
from tests.unit.collector.cli.test_assess import FIELDS, rows, written


def run(*args: object) -> Result:
    return CliRunner().invoke(backtest_command, [str(arg) for arg in args])


def lines(path: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in path.read_text().splitlines()]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    # The second pack goes from wear 26 % to 37 % in the 110 days.
    packs = rows("calm", days=110), rows("fast", 74.0, days=110, fade=0.1)
    return written(tmp_path, *packs)


def test_the_lines_are_assessments_in_time_order(file: Path, tmp_path: Path) -> None:
    out = tmp_path / "said.jsonl"
    assert run(file, "--out", out).exit_code == 0
    said = lines(out)
    assert [list(line) for line in said] == [FIELDS] * len(said)
    days = [str(line["as_of"]) for line in said]
    assert days == sorted(days)
    assert len(set(days)) == 16
    assert len(said) == 32


def test_a_shorter_step_gives_more_lines(file: Path, tmp_path: Path) -> None:
    out = tmp_path / "said.jsonl"
    run(file, "--out", out, "--step-days", 2)
    assert len({line["as_of"] for line in lines(out)}) == 55


def test_later_readings_change_no_earlier_line(file: Path, tmp_path: Path) -> None:
    whole, part = tmp_path / "whole.jsonl", tmp_path / "part.jsonl"
    run(file, "--out", whole)
    run(
        written(tmp_path, rows("calm", days=70), rows("fast", 74.0, days=70, fade=0.1)),
        *("--out", part),
    )
    so_far = part.read_text()
    assert so_far
    assert whole.read_text().startswith(so_far)


def test_the_summary_is_in_words_for_a_manager(file: Path) -> None:
    result = run(file)
    assert result.exit_code == 0
    assert result.stderr == ""
    told = result.stdout
    assert told.startswith(
        "2 packs, one assessment every 7 days: 32 assessments over 0.6 pack-years.\n"
    )
    assert "0 drops told and borne out." in told
    assert "0 alarms told and withdrawn: 0.0 for every 1,000 pack-years." in told
    assert "Forecasts of wear 30 % (1 pack came to it)" in told
    assert "60 % of the way" in told
    assert "Forecasts of wear 40 % (0 packs came to it)" in told


def test_a_drop_is_told_with_how_soon_it_was_found(tmp_path: Path) -> None:
    before = rows("cell", 90.0, days=120)
    after = rows("cell", 70.0, days=200).splitlines(keepends=True)[120:]
    told = run(written(tmp_path, before, *after), "--step-days", 1).stdout
    assert "1 drop told and borne out: half of them within" in told
    assert "100 % within 14 days." in told


def test_nothing_is_written_without_a_file_to_write_to(
    file: Path, tmp_path: Path
) -> None:
    run(file)
    assert [path.name for path in tmp_path.iterdir()] == ["histories.csv"]


def test_a_file_that_cannot_be_written_is_told(file: Path, tmp_path: Path) -> None:
    result = run(file, "--out", tmp_path / "no folder" / "said.jsonl")
    assert result.exit_code == 1
    assert "cannot be written" in result.stderr


@pytest.mark.parametrize("days", ["0", "400", "a week"])
def test_a_step_that_makes_no_sense_is_refused(file: Path, days: str) -> None:
    assert run(file, "--step-days", days).exit_code == 2


def test_rows_set_aside_are_told(tmp_path: Path) -> None:
    file = written(tmp_path, rows("calm"), "calm,2025-09-02\n")
    result = run(file)
    assert result.exit_code == 0
    assert "line 122: 2 fields where the heading has 5" in result.stderr
    assert run(file, "--strict").exit_code == 1
