"""The two commands on a file of a simulated fleet, as processes of their own."""

import json
import os
import pty
import subprocess
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from fadewatch_collector.simulation.arrivals import as_arrived
from fadewatch_collector.simulation.histories import simulate

END = date(2026, 6, 30)
HEADING = "pack_id,measured_at,design_capacity,full_charge_capacity,cycle_count\n"
COLLECTOR = (sys.executable, "-m", "fadewatch_collector")


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every reading of 25 packs, as it arrived: repeated, late, misdated, nonsense."""
    fleet = simulate(25, days=120, end=END, seed=12)
    rows = as_arrived(fleet)
    path = tmp_path_factory.mktemp("histories") / "fleet.csv"
    moments = np.datetime_as_string(rows.measured_on)
    with path.open("w") as file:
        file.write(HEADING)
        for at in range(len(rows)):
            cycles = rows.cycle_count[at]
            file.write(
                f"{fleet.pack_ids[rows.pack[at]]},{moments[at]}T08:15:00Z,"
                f"{rows.design_capacity[at]:.0f},{rows.full_charge_capacity[at]:.0f},"
                f"{'' if np.isnan(cycles) else int(cycles)}\n"
            )
    return path


def run(command: str, *args: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COLLECTOR, command, *map(str, args)],
        capture_output=True,
        text=True,
        check=False,
        timeout=50,
    )


def test_a_whole_fleet_is_assessed_from_a_file(file: Path) -> None:
    done = run("assess", file, "--json")
    assert done.returncode == 0
    said = [json.loads(line) for line in done.stdout.splitlines()]
    packs = {line.split(",")[0] for line in file.read_text().splitlines()[1:]}
    assert {line["pack_id"] for line in said} == packs
    assert len(said) == len(packs)
    # A wrong clock makes no other day the present.
    assert {line["as_of"] for line in said} == {END.isoformat()}
    known = [line for line in said if line["wear_percent"] is not None]
    assert len(known) > 0.9 * len(said)
    assert all(-15 < line["wear_percent"] < 100 for line in known)


def test_the_order_of_rows_changes_nothing(file: Path, tmp_path: Path) -> None:
    lines = file.read_text().splitlines(keepends=True)[1:]
    mixed = tmp_path / "mixed.csv"
    order = np.random.default_rng(4).permutation(len(lines))
    mixed.write_text(HEADING + "".join(lines[at] for at in order))
    said = [
        sorted(run("assess", path, "--json").stdout.splitlines())
        for path in (file, mixed)
    ]
    assert said[0] == said[1]


def test_a_replay_writes_what_an_assessment_of_the_day_says(
    file: Path, tmp_path: Path
) -> None:
    out = tmp_path / "said.jsonl"
    done = run("backtest", file, "--out", out, "--step-days", 28)
    assert done.returncode == 0, done.stderr
    assert "pack-years" in done.stdout
    said = [json.loads(line) for line in out.read_text().splitlines()]
    days = sorted({line["as_of"] for line in said if line["as_of"] < "2026-06-30"})
    day = [one for one in days if one > "2026-04-01"][-1]
    assessed = run("assess", file, "--json", "--as-of", day)
    by_pack = {}
    for text in assessed.stdout.splitlines():
        line = json.loads(text)
        by_pack[line["pack_id"]] = line
    of_day = [line for line in said if line["as_of"] == day]
    assert len(of_day) > 10
    for line in of_day:
        # What a pack borrows depends on who else is assessed; its own figures do not.
        own = ("readings", "wear_percent", "band", "gauge", "sudden_drop")
        same = by_pack[line["pack_id"]]
        assert [line[name] for name in own] == [same[name] for name in own]


def test_a_bar_is_shown_on_a_terminal_only(file: Path) -> None:
    assert "%" not in run("assess", file).stderr
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [*COLLECTOR, "assess", str(file)],
        stdout=subprocess.PIPE,
        stderr=theirs,
        text=True,
    ) as process:
        os.close(theirs)
        out, _ = process.communicate(timeout=50)
    shown = _drained(ours)
    assert process.returncode == 0
    assert "reading" in shown
    assert "assessing" in shown
    assert "100%" in shown
    assert out.splitlines()[0].startswith("25 packs as of")


def _drained(descriptor: int) -> str:
    parts = []
    try:
        while part := os.read(descriptor, 65536):
            parts.append(part)
    except OSError:
        # Linux says EIO where other systems say end of file.
        pass
    finally:
        os.close(descriptor)
    return b"".join(parts).decode()
