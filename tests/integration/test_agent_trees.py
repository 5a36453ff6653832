"""What the agent says of trees recorded on a real kernel (tests/kernel/record.py)."""

import json
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from fadewatch_agent import cli
from fadewatch_common.report import Report
from tests.fixtures.trees import TREES, laid_out

NAMES = sorted(path.name for path in TREES.iterdir() if path.is_dir())
WEAR = {
    # By hand from each tree's energy_full and energy_full_design (charge_* for one):
    # 1 - 54340 / 57000, 1 - 4100 / 5000, 1 - 60420 / 57000, 1 - 31000 / 57000.
    "healthy": "4.7 %",
    "in-mah": "18.0 %",
    "full-above-design": "-6.0 %",
    "without-cycles": "45.6 %",
    "held-at-limit": "4.7 %",
    "unknown-design": "not known",
    "all-unknown": "not known",
}


def read(name: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    cli.main(["read", "--json", f"--root={laid_out(name, folder)}"])
    report: dict[str, Any] = json.loads(capsys.readouterr().out)
    return report


@pytest.mark.parametrize("name", NAMES)
def test_every_tree_gives_a_report_that_a_collector_takes(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = read(name, tmp_path, capsys)

    TypeAdapter(Report).validate_json(json.dumps(report), strict=True)


@pytest.mark.parametrize("name", WEAR)
def test_wear_of_a_kernels_pack_is_one_minus_full_over_design(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cli.main(["read", f"--root={laid_out(name, tmp_path)}"])

    assert f"wear                  {WEAR[name]}" in capsys.readouterr().out


def test_unknown_values_are_absent_and_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = read("all-unknown", tmp_path, capsys)

    (pack,) = report["packs"]
    assert not {"design_capacity", "full_charge_capacity", "cycle_count"} & set(pack)
    assert any("full-charge capacity unknown" in r for r in report["remarks"])


def test_a_pack_without_bix_has_no_cycle_count(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (pack,) = read("without-cycles", tmp_path, capsys)["packs"]

    assert "cycle_count" not in pack


def test_a_pack_at_its_charge_limit_is_held(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (pack,) = read("held-at-limit", tmp_path, capsys)["packs"]

    assert pack["state"] == "held"


def test_an_empty_bay_is_no_pack(tmp_path: Path) -> None:
    root = laid_out("empty-bay", tmp_path)

    assert cli.main(["read", f"--root={root}"]) == cli.NO_PACK


def test_strings_of_other_alphabets_and_tabs_are_readable(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (pack,) = read("odd-strings", tmp_path, capsys)["packs"]

    assert (pack["maker"], pack["model"]) == ("Zéta Énergie", "ZE 57")


def test_without_rights_the_inventory_is_read_and_the_rest_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = read("no-pack-unprivileged", tmp_path, capsys)

    assert report["laptop"]["model"] == "Ridgeway 14"
    assert "serial" not in report["laptop"]
    assert report["memory"]["total_mib"] > 0
    assert any(r.startswith("SMBIOS tables: ") for r in report["remarks"])


def test_a_whole_laptop_is_read_from_the_kernel_and_the_firmware(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = read("whole-laptop", tmp_path, capsys)

    # As tests/kernel gave it to the emulator.
    assert report["laptop"]["serial"] == "TH4X9Q7K"
    assert report["laptop"]["board_uuid"] == "6f1d3a52-8a3e-4f0a-9c11-aabbccddeeff"
    assert [pack["unit"] for pack in report["packs"]] == ["mWh", "mAh"]
    assert report["drives"][0]["kind"] == "nvme"
