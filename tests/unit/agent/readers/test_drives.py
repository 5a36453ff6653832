"""The built-in drives."""

from pathlib import Path

import pytest

from fadewatch_agent.readers.drives import read_drives
from fadewatch_common.report import MAX_DRIVES, Drive
from tests.unit.agent.laptops import block_device, files_of


def drives(root: Path) -> tuple[Drive, ...]:
    return read_drives(files_of(root)).drives


def linked_device(root: Path, name: str, where: str) -> None:
    """Put a drive where the kernel has it: /sys/block holds links alone."""
    real = root / "sys/devices" / where / "block" / name
    real.mkdir(parents=True)
    (real / "size").write_text("1000\n")
    (root / "sys/block").mkdir(parents=True, exist_ok=True)
    link = root / "sys/block" / name
    link.symlink_to(Path("../devices") / where / "block" / name)


def test_an_nvme_drive_is_read_whole(tmp_path: Path) -> None:
    block_device(
        tmp_path,
        "nvme0n1",
        {
            "size": "1000215216",
            "removable": "0",
            "queue/rotational": "0",
            "device/model": "Larkspur N512   ",
            "device/serial": "  LN-0001",
            "device/transport": "pcie",
        },
    )

    # 512-byte units whatever the drive's own sectors: 1000215216 * 512.
    assert drives(tmp_path) == (
        Drive(
            name="nvme0n1",
            size_bytes=512_110_190_592,
            kind="nvme",
            model="Larkspur N512",
            serial="LN-0001",
        ),
    )


@pytest.mark.parametrize(
    ("rotational", "kind"), [("1", "hdd"), ("0", "ssd"), ("?", "unknown")]
)
def test_a_sata_drive_is_told_apart_by_its_rotation(
    tmp_path: Path, rotational: str, kind: str
) -> None:
    block_device(
        tmp_path,
        "sda",
        {
            "queue/rotational": rotational,
            "device/model": "Brackwater 1000",
            # SPC page 80h: type, page, two bytes of length, the serial.
            "device/vpd_pg80": b"\x00\x80\x00\x08 BW-0002",
        },
    )

    (drive,) = drives(tmp_path)

    assert (drive.kind, drive.serial) == (kind, "BW-0002")


def test_soldered_flash_is_a_drive_and_its_partitions_are_not(tmp_path: Path) -> None:
    emmc = {"device/type": "MMC", "device/name": "OE064", "device/serial": "0x1a2b"}
    block_device(tmp_path, "mmcblk0", emmc)
    block_device(tmp_path, "mmcblk0boot0", {})
    block_device(tmp_path, "mmcblk0rpmb", {})

    (drive,) = drives(tmp_path)

    assert (drive.kind, drive.model, drive.serial) == ("emmc", "OE064", "0x1a2b")


def test_a_card_in_a_reader_is_no_drive(tmp_path: Path) -> None:
    block_device(tmp_path, "mmcblk1", {"device/type": "SD"})

    assert drives(tmp_path) == ()


@pytest.mark.parametrize(
    "name", ["loop0", "ram0", "zram0", "dm-0", "md127", "sr0", "fd0", "nbd0"]
)
def test_what_is_made_of_other_things_is_no_drive(tmp_path: Path, name: str) -> None:
    block_device(tmp_path, name, {})

    assert drives(tmp_path) == ()


@pytest.mark.parametrize(
    "files",
    [
        {"removable": "1"},
        {"hidden": "1"},
        {"size": "0"},
        {"size": "?"},
        {"device/transport": "tcp"},
    ],
)
def test_what_is_not_built_in_is_no_drive(
    tmp_path: Path, files: dict[str, str]
) -> None:
    block_device(tmp_path, "nvme0n1", files)

    assert drives(tmp_path) == ()


@pytest.mark.parametrize(
    "where",
    [
        "pci0000:00/0000:00:14.0/usb2/2-1/2-1:1.0/host2/target2:0:0/2:0:0:0",
        "platform/host3/session1/target3:0:0/3:0:0:1",
        "virtual",
    ],
)
def test_usb_network_and_virtual_drives_are_not_built_in(
    tmp_path: Path, where: str
) -> None:
    linked_device(tmp_path, "sda", where)

    assert drives(tmp_path) == ()


def test_a_sata_drive_behind_its_link_is_built_in(tmp_path: Path) -> None:
    linked_device(tmp_path, "sda", "pci0000:00/0000:00:1f.2/ata1/host0/0:0:0:0")

    assert [drive.name for drive in drives(tmp_path)] == ["sda"]


def test_a_tree_saved_on_a_usb_stick_keeps_its_drives(tmp_path: Path) -> None:
    stick = tmp_path / "usb1/virtual"
    stick.mkdir(parents=True)
    block_device(stick, "sda", {})

    assert len(drives(stick)) == 1


def test_a_virtual_machines_disk_has_no_known_kind(tmp_path: Path) -> None:
    block_device(tmp_path, "vda", {"queue/rotational": "1"})

    assert drives(tmp_path)[0].kind == "unknown"


def test_a_drive_without_a_name_or_serial_has_none(tmp_path: Path) -> None:
    block_device(tmp_path, "sda", {"device/model": "   "})

    (drive,) = drives(tmp_path)

    assert (drive.model, drive.serial) == (None, None)


def test_more_drives_than_a_report_holds_are_remarked(tmp_path: Path) -> None:
    for index in range(MAX_DRIVES + 1):
        block_device(tmp_path, f"nvme{index:02}n1", {})

    reading = read_drives(files_of(tmp_path))

    assert len(reading.drives) == MAX_DRIVES
    assert reading.remarks == (f"nvme{MAX_DRIVES}n1: one drive too many",)
