"""What SMBIOS type 22 adds."""

from dataclasses import replace
from datetime import date

import pytest

from fadewatch_agent.readers.portable_battery import (
    portable_battery,
    with_portable_battery,
)
from fadewatch_agent.readers.smbios import Tables, decode
from fadewatch_common.report import Pack
from tests.unit.agent.structures import END
from tests.unit.agent.structures import portable_battery as record

PACK = Pack(
    slot="BAT0",
    unit="mWh",
    serial="00417",
    design_capacity=57_000,
    full_charge_capacity=49_020,
)


def tables(*records: bytes) -> Tables:
    return decode(b"".join(records) + END)


def only(raw: bytes) -> Tables:
    return tables(raw)


def test_a_record_is_decoded() -> None:
    # 22127 is 2023-03-15: 43 * 512 + 3 * 32 + 15.
    (found,) = tables(record()).structures

    assert portable_battery(found) == (
        ("00417",),
        57_000,
        11_400,
        "Li-ion",
        date(2023, 3, 15),
    )


def test_a_record_of_smbios_2_1_has_no_multiplier_and_no_date() -> None:
    (found,) = tables(record(design=57_000, length=0x10)).structures

    decoded = portable_battery(found)

    assert (decoded.design_capacity_mwh, decoded.made_on) == (57_000, None)


def test_an_unknown_chemistry_points_to_the_smart_batterys_text() -> None:
    (found,) = tables(record(chemistry=2)).structures

    assert portable_battery(found).chemistry == "LION"


def test_gaps_are_filled_where_the_serials_agree() -> None:
    (pack,), remarks = with_portable_battery((PACK,), tables(record()))

    assert pack == replace(
        PACK,
        made_on=date(2023, 3, 15),
        chemistry="Li-ion",
        design_voltage_mv=11_400,
    )
    assert remarks == ()


def test_what_the_pack_says_itself_is_never_replaced() -> None:
    told = replace(
        PACK, chemistry="Li-poly", made_on=date(2024, 1, 2), design_voltage_mv=11_550
    )

    (pack,), _ = with_portable_battery((told,), tables(record()))

    assert pack == told


@pytest.mark.parametrize("serial", ["1A2B", "6699", "00001A2B"])
def test_the_smart_batterys_number_is_known_in_both_writings(serial: str) -> None:
    # 0x1A2B = 6699; Linux writes an integer serial with eight digits.
    raw = record(serial=b"0", sbds_serial=0x1A2B)

    (pack,), _ = with_portable_battery((replace(PACK, serial=serial),), only(raw))

    assert pack.made_on == date(2023, 3, 15)


@pytest.mark.parametrize("serial", [None, "", "0", "00900"])
def test_another_serial_fills_nothing(serial: str | None) -> None:
    pack = replace(PACK, serial=serial)

    assert with_portable_battery((pack,), tables(record())) == ((pack,), ())


def test_a_placeholder_serial_fills_nothing() -> None:
    pack = replace(PACK, serial="0000")

    assert with_portable_battery((pack,), tables(record(serial=b"0000")))[0] == (pack,)


def test_two_packs_or_two_records_are_ambiguous() -> None:
    two = (PACK, replace(PACK, slot="BAT1"))

    assert with_portable_battery(two, tables(record())) == (two, ())
    assert with_portable_battery((PACK,), tables(record(), record())) == ((PACK,), ())


def test_without_tables_nothing_is_added() -> None:
    assert with_portable_battery((PACK,), None) == ((PACK,), ())


def test_a_missing_design_capacity_is_filled_in_mwh_alone() -> None:
    in_mwh = replace(PACK, design_capacity=None)
    in_mah = replace(PACK, design_capacity=None, unit="mAh")

    filled = [
        with_portable_battery((pack,), tables(record()))[0][0].design_capacity
        for pack in (in_mwh, in_mah)
    ]

    assert filled == [57_000, None]


def test_another_design_capacity_is_remarked() -> None:
    other = replace(PACK, design_capacity=50_000)

    _, remarks = with_portable_battery((other,), tables(record()))

    assert len(remarks) == 1
    assert remarks[0].startswith("BAT0: design capacity is 50000 mWh, but 57000 mWh")


def test_a_small_difference_is_not_remarked() -> None:
    other = replace(PACK, design_capacity=55_000)

    assert with_portable_battery((other,), tables(record()))[1] == ()
