"""The agent reads the saved trees; this needs no emulator."""

import json
from pathlib import Path
from typing import Any

import pytest

from fadewatch_agent.cli import main
from tests.fixtures.trees import laid_out, unreadable_files

Json = dict[str, Any]

NO_PACK = 3


def read(
    name: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> tuple[int, Json]:
    code = main(["read", "--json", "--root", str(laid_out(name, folder))])
    said: Json = json.loads(capsys.readouterr().out)
    return code, said


@pytest.mark.parametrize(
    ("name", "design", "full"),
    [
        ("healthy", 57_000, 54_340),
        ("in-mah", 5_000, 4_100),
        ("unknown-design", None, 54_340),
        ("all-unknown", None, None),
        ("held-at-limit", 57_000, 54_340),
        ("without-cycles", 57_000, 31_000),
        ("full-above-design", 57_000, 60_420),
        ("odd-strings", 57_000, 54_340),
        ("blank-strings", 57_000, 28_500),
    ],
)
def test_a_saved_pack_has_the_capacities_of_its_description(
    name: str,
    design: int | None,
    full: int | None,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    code, said = read(name, tmp_path, capsys)

    (pack,) = said["packs"]
    assert code == 0
    assert pack.get("design_capacity") == design
    assert pack.get("full_charge_capacity") == full


def test_a_saved_empty_bay_is_no_pack(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = read("empty-bay", tmp_path, capsys)

    assert (code, said["packs"]) == (NO_PACK, [])


@pytest.mark.parametrize("name", ["unknown-design", "all-unknown"])
def test_a_capacity_that_cannot_be_read_is_remarked_on(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, said = read(name, tmp_path, capsys)

    assert unreadable_files(name)
    assert any("design capacity unknown" in remark for remark in said["remarks"])


def test_tables_for_root_alone_leave_names_and_a_remark(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = read("no-pack-unprivileged", tmp_path, capsys)

    assert code == NO_PACK
    assert (said["laptop"]["maker"], said["laptop"]["model"]) == (
        "Tarnholm",
        "Ridgeway 14",
    )
    assert "serial" not in said["laptop"]
    assert any("SMBIOS tables" in remark for remark in said["remarks"])
