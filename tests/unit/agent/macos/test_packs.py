"""The pack of a macOS laptop, of both processor generations."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.fitting import fitted
from fadewatch_agent.readers.macos.packs import pack_from, read_packs
from fadewatch_agent.readers.supplies import Look
from fadewatch_common.bounds import problems
from fadewatch_common.report import Pack
from fadewatch_common.wear import wear
from tests.fakes.macos import CHARGE_GENERATION, PERCENT_GENERATION, FakeMac
from tests.unit.agent.laptops import Pauses

SLOT = "AppleSmartBattery"


def read(*entries: dict[str, Any]) -> Look:
    return read_packs(FakeMac(list(entries)), None, Pauses())


def pack(entry: dict[str, Any], *without: str, **changed: Any) -> Pack:
    kept = {name: value for name, value in entry.items() if name not in without}
    return pack_from(SLOT, kept | changed)


@pytest.mark.parametrize(
    ("entry", "design", "full", "remaining"),
    [(PERCENT_GENERATION, 4629, 3982, 3344), (CHARGE_GENERATION, 5088, 4376, 3000)],
    ids=["percent", "charge"],
)
def test_capacities_are_charges_on_both_generations(
    entry: dict[str, Any], design: int, full: int, remaining: int
) -> None:
    (told,) = read(entry).packs

    assert (told.slot, told.unit) == (SLOT, "mAh")
    assert (told.design_capacity, told.full_charge_capacity) == (design, full)
    assert told.remaining_capacity == remaining
    assert wear(full, design) == pytest.approx(0.14, abs=0.001)


def test_a_percentage_never_passes_for_a_charge() -> None:
    # MaxCapacity / DesignCapacity would be a wear of 98 %.
    raw_keys = ("AppleRawMaxCapacity", "AppleRawCurrentCapacity")
    told = pack(PERCENT_GENERATION, *raw_keys, "NominalChargeCapacity")

    assert told.full_charge_capacity is None
    assert told.remaining_capacity is None


def test_the_nominal_charge_stands_in_where_there_is_no_raw_one() -> None:
    told = pack(PERCENT_GENERATION, "AppleRawMaxCapacity")

    assert told.full_charge_capacity == 4101


def test_older_laptops_without_raw_keys_give_charges_all_the_same() -> None:
    raw_keys = ("AppleRawMaxCapacity", "AppleRawCurrentCapacity")
    told = pack(CHARGE_GENERATION, *raw_keys)

    assert (told.full_charge_capacity, told.remaining_capacity) == (4376, 3000)


def test_keys_that_moved_into_the_nested_dictionary_are_found_there() -> None:
    told = pack(
        PERCENT_GENERATION,
        *("DesignCapacity", "CycleCount", "AppleRawMaxCapacity", "Serial"),
        *("NominalChargeCapacity", "AppleRawCurrentCapacity"),
        BatteryData={
            "DesignCapacity": 4629,
            "NominalChargeCapacity": 4101,
            "CycleCount": 213,
            "Serial": "QM5700417A",
        },
    )

    assert (told.design_capacity, told.full_charge_capacity) == (4629, 4101)
    assert (told.cycle_count, told.serial) == (213, "QM5700417A")


def test_the_rated_cycles_are_not_the_counted_ones() -> None:
    bare = {"DesignCapacity": 4629, "DesignCycleCount9C": 1000, "BatteryData": {}}

    assert pack(bare).cycle_count is None


@pytest.mark.parametrize("packed", [0, 55_405_918_040_117, -5, 22_127.0, "2023"])
def test_a_date_that_is_no_packed_date_is_left_out(packed: object) -> None:
    assert pack(CHARGE_GENERATION, ManufactureDate=packed).made_on is None


def test_a_packed_date_is_read() -> None:
    # 2023-03-15 is 43 * 512 + 3 * 32 + 15 = 22127 (Smart Battery Data 1.1).
    assert pack(CHARGE_GENERATION).made_on == date(2023, 3, 15)


def test_the_temperature_is_left_out_as_its_unit_is_not_sure() -> None:
    assert pack(PERCENT_GENERATION).temperature_c is None


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ({"Serial": "A1", "BatterySerialNumber": "B2"}, "A1"),
        ({"BatterySerialNumber": "B2", "SerialNumber": "C3"}, "B2"),
        ({"Serial": "", "SerialNumber": "C3"}, "C3"),
        ({"Serial": "0000", "FirmwareSerialNumber": 4711}, "4711"),
        ({"SerialNumber": 417}, "417"),
        ({"FirmwareSerialNumber": 0}, None),
        ({}, None),
    ],
)
def test_the_serial_is_found_by_the_key_of_the_generation(
    keys: dict[str, Any], expected: str | None
) -> None:
    assert pack(keys).serial == expected


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"ExternalConnected": False, "IsCharging": False}, "discharging"),
        ({"ExternalConnected": False, "FullyCharged": True}, "discharging"),
        ({"ExternalConnected": True, "IsCharging": True, "Amperage": 900}, "charging"),
        (
            {"ExternalConnected": True, "FullyCharged": True, "Amperage": 0},
            "full",
        ),
        ({"ExternalConnected": True, "FullyCharged": False, "Amperage": 0}, "held"),
        (
            {"ExternalConnected": True, "FullyCharged": True, "Amperage": 2**64 - 20},
            "full",
        ),
        # A weak supply: connected, and still 1,500 mA flow out of the pack.
        (
            {"ExternalConnected": True, "Amperage": 2**64 - 1500},
            "discharging",
        ),
        ({"ExternalConnected": True, "Amperage": -1500}, "discharging"),
    ],
)
def test_the_state_comes_from_supply_current_and_flags(
    changed: dict[str, Any], expected: str
) -> None:
    assert pack(PERCENT_GENERATION, **changed).state == expected


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        ({}, "unknown"),
        ({"IsCharging": 1}, "charging"),
        ({"ExternalConnected": True}, "unknown"),
        ({"ExternalConnected": 1, "FullyCharged": 1}, "full"),
    ],
)
def test_missing_flags_make_the_state_unknown(
    entry: dict[str, Any], expected: str
) -> None:
    assert pack(entry).state == expected


def test_an_absent_pack_is_no_pack_though_its_keys_stay_at_zero() -> None:
    look = read(
        PERCENT_GENERATION
        | {"BatteryInstalled": False, "MaxCapacity": 0, "ExternalConnected": True}
    )

    assert look == Look((), True, ())


def test_a_laptop_without_a_pack_prints_nothing() -> None:
    assert read() == Look((), None, ())


def test_zeros_are_unknown() -> None:
    zeros = dict.fromkeys(
        ("DesignCapacity", "AppleRawMaxCapacity", "CycleCount", "Voltage"), 0
    )
    told = pack(PERCENT_GENERATION, "NominalChargeCapacity", "BatteryData", **zeros)

    assert told.design_capacity is None
    assert told.full_charge_capacity is None
    assert told.cycle_count is None
    assert told.voltage_mv is None


def test_the_gauges_margin_is_kept_where_it_is_told() -> None:
    assert pack(CHARGE_GENERATION).error_margin_percent == 1
    assert pack(CHARGE_GENERATION, MaxErr=0).error_margin_percent == 0
    assert pack(PERCENT_GENERATION).error_margin_percent is None


def test_what_is_missing_and_what_failed_is_told() -> None:
    look = read({"BatteryInstalled": True, "PermanentFailureStatus": 0x10})

    assert look.remarks == (
        f"{SLOT}: design capacity unknown: the registry gives none in mAh",
        f"{SLOT}: full-charge capacity unknown: the registry gives none in mAh",
        (
            f"{SLOT}: its own electronics report a permanent failure (0x10);"
            " have it looked at"
        ),
    )


def test_two_packs_have_slots_of_their_own() -> None:
    slots = [p.slot for p in read(PERCENT_GENERATION, CHARGE_GENERATION).packs]

    assert slots == [SLOT, f"{SLOT} 2"]


def test_a_program_that_fails_is_told() -> None:
    look = read_packs(FakeMac(failing=("AppleSmartBattery",)), None, Pauses())

    assert look.packs == ()
    assert look.remarks == (
        "packs: /usr/sbin/ioreg -a -r -c AppleSmartBattery -d 1: it ended with 1",
    )


values = st.one_of(
    st.booleans(),
    st.integers(-(2**70), 2**70),
    st.floats(),
    st.text(max_size=200),
    st.binary(max_size=200),
    st.none(),
    st.lists(st.integers(), max_size=2),
)
names = st.sampled_from(sorted(PERCENT_GENERATION | CHARGE_GENERATION))


@given(entry=st.dictionaries(names, values), nested=st.dictionaries(names, values))
def test_any_values_give_a_pack_within_the_bounds(
    entry: dict[str, Any], nested: dict[str, Any]
) -> None:
    kept, _ = fitted(pack(entry | {"BatteryData": nested}), SLOT)

    assert kept is not None
    assert list(problems(kept)) == []
