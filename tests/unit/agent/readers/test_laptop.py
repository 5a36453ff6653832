"""What the laptop says of itself."""

from pathlib import Path

import pytest

from fadewatch_agent.readers.laptop import read_laptop
from fadewatch_agent.readers.smbios import decode
from fadewatch_agent.readers.tables import Firmware
from fadewatch_common.report import Laptop
from tests.unit.agent.laptops import files_of
from tests.unit.agent.structures import END, chassis, structure, system

NO_TABLES = Firmware(None)


def ids(root: Path, **files: str) -> None:
    folder = root / "sys/class/dmi/id"
    folder.mkdir(parents=True)
    for name, text in files.items():
        (folder / name).write_text(text + "\n")


def test_the_tables_tell_everything(tmp_path: Path) -> None:
    firmware = Firmware(decode(chassis(0x8A) + system() + END), (3, 8))

    assert read_laptop(files_of(tmp_path), firmware) == Laptop(
        maker="Tarnholm",
        model="Ridgeway 14",
        serial="TH4X9Q7K",
        board_uuid="00112233-4455-6677-8899-aabbccddeeff",
        chassis="notebook",
    )


def test_a_type_1_of_smbios_2_0_has_no_uuid(tmp_path: Path) -> None:
    # 7.2: the structure is 8 bytes long in 2.0, 25 since 2.1, 27 since 2.4.
    laptop = read_laptop(files_of(tmp_path), Firmware(decode(system(length=8)), (2, 0)))

    assert laptop.serial == "TH4X9Q7K"
    assert laptop.board_uuid is None


def test_without_a_chassis_structure_the_chassis_is_unknown(tmp_path: Path) -> None:
    laptop = read_laptop(files_of(tmp_path), Firmware(decode(system())))

    assert laptop.chassis is None


def test_what_everyone_may_read_stands_in_for_the_tables(tmp_path: Path) -> None:
    ids(
        tmp_path,
        sys_vendor="Tarnholm",
        product_name=" Ridgeway 14 ",
        chassis_type="10",
    )

    assert read_laptop(files_of(tmp_path), NO_TABLES) == Laptop(
        maker="Tarnholm", model="Ridgeway 14", chassis="notebook"
    )


def test_it_stands_in_for_tables_without_a_system_structure_too(tmp_path: Path) -> None:
    ids(tmp_path, sys_vendor="Tarnholm")
    firmware = Firmware(decode(structure(2, 8, [])))

    assert read_laptop(files_of(tmp_path), firmware).maker == "Tarnholm"


@pytest.mark.parametrize(
    ("shown", "uuid"),
    [
        (
            "00112233-4455-6677-8899-AABBCCDDEEFF",
            "00112233-4455-6677-8899-aabbccddeeff",
        ),
        ("00000000-0000-0000-0000-000000000000", None),
        ("Not Settable", None),
        ("0011", None),
    ],
)
def test_the_kernels_uuid_is_taken_as_it_stands(
    tmp_path: Path, shown: str, uuid: str | None
) -> None:
    ids(tmp_path, product_uuid=shown, product_serial="TH4X9Q7K")

    laptop = read_laptop(files_of(tmp_path), NO_TABLES)

    assert (laptop.board_uuid, laptop.serial) == (uuid, "TH4X9Q7K")


@pytest.mark.parametrize(
    ("shown", "hostname"), [("lab-17", "lab-17"), ("(none)", None), ("", None)]
)
def test_the_hostname_comes_from_the_tree(
    tmp_path: Path, shown: str, hostname: str | None
) -> None:
    folder = tmp_path / "proc/sys/kernel"
    folder.mkdir(parents=True)
    (folder / "hostname").write_text(shown + "\n")

    assert read_laptop(files_of(tmp_path), NO_TABLES).hostname == hostname
