"""`export fleet-shares` and its like write the fleet view to files."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from fadewatch_collector.cli.export import export_group
from fadewatch_collector.usecases.fleet_csv import (
    FLEET_FILE_COLUMNS,
    FLEET_FILES,
    FleetFile,
)


@pytest.mark.parametrize("name", FLEET_FILES)
def test_the_file_of_an_empty_fleet_has_its_headings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: FleetFile
) -> None:
    monkeypatch.setenv("FADEWATCH_DATA_FOLDER", str(tmp_path / "data"))
    monkeypatch.delenv("FADEWATCH_DATABASE_URL", raising=False)
    out = tmp_path / "file.csv"

    result = CliRunner().invoke(export_group, [name, "--out", str(out)])

    assert (result.exit_code, result.output) == (0, "")
    lines = out.read_text().splitlines()
    assert lines[0] == ",".join(FLEET_FILE_COLUMNS[name])
    # What is counted by lead time has its rows, all of them 0.
    assert len(lines) == (11 if name == "held-forecasts" else 1)
