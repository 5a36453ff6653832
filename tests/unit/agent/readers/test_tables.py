"""Reading the tables' files."""

from pathlib import Path

from fadewatch_agent.readers.tables import read_firmware
from tests.unit.agent.laptops import files_of
from tests.unit.agent.structures import END, entry_point_2, system


def tables_folder(root: Path) -> Path:
    folder = root / "sys/firmware/dmi/tables"
    folder.mkdir(parents=True)
    return folder


def test_tables_and_version_are_read(tmp_path: Path) -> None:
    folder = tables_folder(tmp_path)
    (folder / "DMI").write_bytes(system() + END)
    (folder / "smbios_entry_point").write_bytes(entry_point_2(2, 5))

    firmware = read_firmware(files_of(tmp_path))

    assert firmware.tables is not None
    assert firmware.smbios == (2, 5)
    assert firmware.remarks == ()


def test_a_system_without_tables_says_so(tmp_path: Path) -> None:
    firmware = read_firmware(files_of(tmp_path))

    assert firmware.tables is None
    assert firmware.remarks == ("SMBIOS tables: this system offers none",)


def test_tables_that_may_not_be_read_are_remarked_with_the_reason(
    tmp_path: Path,
) -> None:
    (tables_folder(tmp_path) / "DMI").mkdir()

    firmware = read_firmware(files_of(tmp_path))

    assert firmware.tables is None
    assert firmware.remarks[0].startswith("SMBIOS tables: is a directory (EISDIR); ")


def test_damaged_tables_are_one_remark(tmp_path: Path) -> None:
    (tables_folder(tmp_path) / "DMI").write_bytes(b"\x01")

    firmware = read_firmware(files_of(tmp_path))

    assert firmware.tables is None
    assert firmware.remarks == ("SMBIOS tables: at byte 0, a header is cut off",)


def test_a_damaged_tail_leaves_the_rest_and_a_remark(tmp_path: Path) -> None:
    (tables_folder(tmp_path) / "DMI").write_bytes(system() + b"\x11")

    firmware = read_firmware(files_of(tmp_path))

    assert firmware.tables is not None
    assert firmware.smbios is None
    assert "the rest is lost" in firmware.remarks[0]
