"""The tables that a kernel handed out hold what the emulated laptop was told.

They are read from the saved tree, so this needs no emulator; that the tree is what
the kernel shows is the matter of ``test_recordings``.
"""

import pytest

from fadewatch_agent.readers.smbios import Structure, Tables, decode
from tests.fixtures.trees import TREES
from tests.kernel.situations import EVERY_SITUATION, HEALTHY

MODEL = EVERY_SITUATION.model


@pytest.fixture(scope="module")
def tables() -> Tables:
    table = TREES / "whole-laptop/sys/firmware/dmi/tables/DMI"
    return decode(table.read_bytes())


def only(tables: Tables, kind: int) -> Structure:
    (structure,) = tables.of_kind(kind)
    return structure


def test_the_whole_table_is_walked(tables: Tables) -> None:
    assert tables.damage is None


def test_type_1_names_the_laptop(tables: Tables) -> None:
    system = only(tables, 1)

    assert system.text(0x04) == MODEL.maker
    assert system.text(0x05) == MODEL.name
    assert system.text(0x07) == MODEL.serial


def test_type_3_tells_the_chassis_and_the_asset_tag(tables: Tables) -> None:
    chassis = only(tables, 3)

    assert chassis.number(0x05, 1) == MODEL.chassis
    assert chassis.text(0x07) == MODEL.serial
    assert chassis.text(0x08) == MODEL.asset_tag


def test_type_16_is_one_array_of_system_memory_with_one_slot(tables: Tables) -> None:
    array = only(tables, 16)
    system_memory = 3

    assert array.number(0x05, 1) == system_memory
    assert array.number(0x0D, 2) == 1


def test_type_17_is_the_memory_that_the_machine_got(tables: Tables) -> None:
    module = only(tables, 17)

    assert module.number(0x0C, 2) == EVERY_SITUATION.memory_mib
    assert module.number(0x15, 2) == MODEL.memory_speed
    assert module.text(0x17) == MODEL.memory_maker
    assert module.text(0x1A) == MODEL.memory_part


def test_type_22_is_the_pack_at_the_boot(tables: Tables) -> None:
    pack = only(tables, 22)

    assert pack.text(0x05) == HEALTHY.maker
    assert pack.text(0x07) == HEALTHY.serial
    assert pack.text(0x08) == HEALTHY.model
    design, multiplier = pack.number(0x0A, 2), pack.number(0x15, 1)
    assert (design or 0) * (multiplier or 0) == HEALTHY.design
    assert pack.number(0x0C, 2) == HEALTHY.design_voltage


def test_type_22_packs_its_date_as_smart_batteries_do(tables: Tables) -> None:
    # Smart Battery Data Specification: day + 32 * month + 512 * (year - 1980).
    second_of_november_2023 = 2 + 32 * 11 + 512 * 43

    assert only(tables, 22).number(0x12, 2) == second_of_november_2023
