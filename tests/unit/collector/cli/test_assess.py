import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fadewatch_collector.cli.assess import MOST_SHOWN, assess_command

START = date(2025, 9, 1)
FIELDS = [
    "pack_id",
    "as_of",
    "readings",
    "wear_percent",
    "band",
    "fade_percent_per_month",
    "crossings",
    "sudden_drop",
    "knee",
    "gauge",
    "concern",
    "reasons",
]


def rows(
    pack: str, health: float = 95.0, *, days: int = 120, fade: float = 0.01
) -> str:
    """One reading a day of a pack that fades evenly; design capacity is 100 Wh."""
    return "".join(
        f"{pack},{START + timedelta(days=day)},100000,"
        f"{1000 * (health - fade * day):.0f},{day}\n"
        for day in range(days)
    )


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return written(tmp_path, rows("calm"), rows("worn", 58.0), rows("tired", 67.0))


def written(folder: Path, *parts: str) -> Path:
    path = folder / "histories.csv"
    heading = "pack_id,measured_at,design_capacity,full_charge_capacity,cycle_count\n"
    path.write_text(heading + "".join(parts))
    return path


def run(*args: object) -> Result:
    return CliRunner().invoke(assess_command, [str(arg) for arg in args])


def lines(result: Result) -> list[dict[str, object]]:
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_json_is_one_object_a_line_with_exactly_the_agreed_fields(file: Path) -> None:
    result = run(file, "--json")
    assert result.exit_code == 0
    assert [list(line) for line in lines(result)] == [FIELDS] * 3
    assert [line["pack_id"] for line in lines(result)] == ["calm", "worn", "tired"]
    assert [line["band"] for line in lines(result)] == ["sound", "replace", "plan"]
    assert result.stderr == ""


def test_json_has_the_agreed_parts(file: Path) -> None:
    calm = lines(run(file, "--json"))[0]
    rate, crossings = calm["fade_percent_per_month"], calm["crossings"]
    assert isinstance(rate, dict)
    assert list(rate) == ["estimate", "low", "high"]
    assert isinstance(crossings, dict)
    assert list(crossings) == ["plan", "replace"]
    plan = crossings["plan"]
    assert plan is None or list(plan) == ["on", "earliest", "latest"]


def test_the_day_is_the_newest_of_the_file_unless_told(file: Path) -> None:
    assert lines(run(file, "--json"))[0]["as_of"] == "2025-12-29"
    told = lines(run(file, "--json", "--as-of", "2025-10-01"))[0]
    assert told["as_of"] == "2025-10-01"
    assert told["readings"] == 31


def test_readings_after_the_day_change_nothing_but_are_told(tmp_path: Path) -> None:
    short = written(tmp_path, rows("calm", days=60))
    before = run(short, "--json")
    longer = written(tmp_path, rows("calm", days=200))
    after = run(longer, "--json", "--as-of", "2025-10-30")
    assert lines(after) == lines(before)
    assert after.stderr == "140 readings after 2025-10-30 are not looked at.\n"


def test_a_day_that_is_none_is_refused(file: Path) -> None:
    result = run(file, "--as-of", "30.10.2025")
    assert result.exit_code == 2
    assert "--as-of" in result.stderr


def test_the_table_shows_the_most_urgent_first_and_is_aligned(file: Path) -> None:
    result = run(file)
    told, _, heading, *table = result.stdout.splitlines()
    assert told == "3 packs as of 2025-12-29. Concern: 1 replace, 1 plan, 1 none."
    assert heading.split() == [
        *("pack", "wear", "band", "a", "month", "plan", "replace", "gauge", "concern")
    ]
    assert [line.split()[0] for line in table[:3]] == ["worn", "tired", "calm"]
    column = heading.index("gauge")
    assert all(line[column - 1] == " " != line[column] for line in table[:3])


def test_each_concern_has_its_first_reason_and_all_when_asked(file: Path) -> None:
    worn = lines(run(file, "--json"))[1]
    reasons = worn["reasons"]
    assert isinstance(reasons, list)
    assert len(reasons) > 1
    short, full = run(file).stdout, run(file, "--reasons").stdout
    assert [reason in short for reason in reasons] == [
        place == 0 for place in range(len(reasons))
    ]
    assert all(f"  {reason}\n" in full for reason in reasons)


def test_a_long_table_is_cut_and_says_so(tmp_path: Path) -> None:
    packs = [rows(f"pack {n}", days=15) for n in range(MOST_SHOWN + 3)]
    file = written(tmp_path, *packs)
    assert "... and 3 less urgent; --all shows every pack." in run(file).stdout
    whole = run(file, "--all").stdout
    assert "less urgent" not in whole
    assert all(f"pack {n} " in whole for n in range(MOST_SHOWN + 3))


def test_rows_set_aside_are_told_on_standard_error(tmp_path: Path) -> None:
    file = written(tmp_path, rows("calm"), "calm,yesterday,100000,95000,\n")
    result = run(file, "--json")
    assert result.exit_code == 0
    assert len(lines(result)) == 1
    first, total = result.stderr.splitlines()
    assert first.startswith("line 122: measured_at 'yesterday' is no date; write it")
    assert total == (
        "1 of 121 rows cannot be read and are set aside; --strict stops at the first."
    )


def test_a_strict_run_says_nothing_of_packs_when_a_row_is_not_right(
    tmp_path: Path,
) -> None:
    file = written(tmp_path, rows("calm"), "calm,yesterday,100000,95000,\n")
    result = run(file, "--json", "--strict")
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "line 122" in result.stderr


def test_wrong_dates_and_open_capacities_are_told(tmp_path: Path) -> None:
    odd = "calm,1970-01-01,100000,95000,\ncalm,2025-09-03,100000,,\n"
    result = run(written(tmp_path, rows("calm"), odd))
    assert "1 rows are dated before 1990 or after 2099" in result.stderr
    assert "1 rows leave a capacity empty" in result.stderr


def test_a_file_without_the_columns_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "other.csv"
    path.write_text("laptop,wear\n1,2\n")
    result = run(path)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr.startswith("fadewatch-collector: line 1: the heading lacks")


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    result = run(tmp_path / "none.csv")
    assert result.exit_code == 2
    assert "does not exist" in result.stderr


def test_a_pack_without_a_usable_reading_is_told_as_unknown(tmp_path: Path) -> None:
    file = written(tmp_path, rows("calm"), "dead,2025-10-01,100000,0,\n")
    dead = lines(run(file, "--json"))[1]
    assert (dead["pack_id"], dead["band"]) == ("dead", "unknown")
    assert dead["wear_percent"] is None
    assert "dead" in run(file).stdout
