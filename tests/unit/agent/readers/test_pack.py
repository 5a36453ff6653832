"""From attributes to a pack."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.readers.pack import pack_from
from fadewatch_agent.readers.snapshot import SINGLE_FILES
from fadewatch_common.report import Pack
from tests.unit.agent.laptops import HEALTHY, without

IN_CHARGE = without(
    "energy_full_design",
    "energy_full",
    "energy_now",
    "power_now",
    charge_full_design="4400000",
    charge_full="3960000",
    charge_now="2000000",
    current_now="800000",
)
"""The worked example of 3.96 Ah left of 4.4 Ah: health 90 %, wear 10 %."""


def capacities(attributes: dict[str, str]) -> tuple[object, ...]:
    pack = pack_from("BAT0", attributes)
    return (
        pack.unit,
        pack.design_capacity,
        pack.full_charge_capacity,
        pack.remaining_capacity,
    )


def test_a_healthy_pack_is_read_whole() -> None:
    # Units after Linux, Documentation/ABI/testing/sysfs-class-power: uWh and uV.
    assert pack_from("BAT0", HEALTHY) == Pack(
        slot="BAT0",
        unit="mWh",
        state="discharging",
        maker="Quellmar",
        model="QM57-3S",
        serial="00417",
        chemistry="Li-ion",
        design_capacity=57_000,
        full_charge_capacity=49_020,
        remaining_capacity=41_200,
        cycle_count=212,
        voltage_mv=11_873,
        design_voltage_mv=11_400,
    )


def test_a_pack_that_counts_charge_is_in_mah() -> None:
    assert capacities(IN_CHARGE) == ("mAh", 4400, 3960, 2000)


def test_a_node_with_both_units_gives_one_of_them_whole() -> None:
    # The smart-battery driver offers energy_* and charge_* of one pack.
    assert capacities(HEALTHY | IN_CHARGE) == ("mAh", 4400, 3960, 2000)


def test_units_are_never_mixed() -> None:
    # 3960 mAh against 57000 mWh would read as a wear of 93 %.
    mixed = without("energy_full", "energy_now", charge_full="3960000")

    assert capacities(mixed) == ("mAh", None, 3960, None)


def test_the_unit_with_design_and_full_wins_over_the_one_with_less() -> None:
    attributes = HEALTHY | {"charge_full": "3960000", "charge_now": "2000000"}

    assert capacities(attributes) == ("mWh", 57_000, 49_020, 41_200)


def test_a_free_running_counter_is_no_capacity() -> None:
    pack = pack_from("BAT0", {"charge_counter": "3960000", "capacity": "80"})

    assert pack.full_charge_capacity == 100
    assert pack.unit == "relative"


def test_full_above_design_is_passed_on() -> None:
    attributes = without(energy_full="60420000")

    assert capacities(attributes)[:3] == ("mWh", 57_000, 60_420)


@pytest.mark.parametrize("value", ["0", "-1", "", "Unknown", "4294967295.5"])
def test_a_capacity_of_nothing_is_unknown(value: str) -> None:
    assert pack_from("BAT0", without(energy_full=value)).full_charge_capacity is None


def test_an_empty_pack_has_zero_left() -> None:
    assert pack_from("BAT0", without(energy_now="0")).remaining_capacity == 0


def test_micro_units_are_rounded_to_the_nearest_thousand() -> None:
    attributes = without(energy_full="49019500", energy_now="41200499")

    assert capacities(attributes)[2:] == (49_020, 41_200)


@pytest.mark.parametrize("count", ["-1", "0", "", "many"])
def test_a_cycle_count_of_minus_one_or_zero_is_unknown(count: str) -> None:
    # -1 is 0xFFFFFFFF of _BIX, 0 is what firmware with only _BIF gives.
    assert pack_from("BAT0", without(cycle_count=count)).cycle_count is None


@pytest.mark.parametrize(
    ("status", "state"),
    [
        ("Charging", "charging"),
        ("Discharging", "discharging"),
        ("Full", "full"),
        ("Not charging", "held"),
        ("Unknown", "unknown"),
        ("", "unknown"),
        ("Sleeping", "unknown"),
    ],
)
def test_states(status: str, state: str) -> None:
    assert pack_from("BAT0", without(status=status)).state == state


# ACPI 6.0 section 10.2.2: last full charge 100, rate unknown, remaining in percent.
# Linux 6.12 drivers/acpi/battery.c then shows full = design and scales the rest:
# 73 % of 57000 is 41610.
SCALED = without(
    "power_now",
    energy_full="57000000",
    energy_now="41610000",
    capacity="73",
)


def test_a_percentage_that_the_kernel_scaled_shows_no_wear() -> None:
    assert capacities(SCALED) == ("relative", None, 100, 73)


def test_a_scaled_percentage_is_seen_through_after_two_roundings() -> None:
    # 57 % of 4999 is 2849.43, kept as 2849, which reads back as 56 %.
    odd = without(
        "power_now",
        energy_full_design="4999000",
        energy_full="4999000",
        energy_now="2849000",
        capacity="56",
    )

    assert capacities(odd) == ("relative", None, 100, 56)


def test_a_new_pack_with_a_known_rate_is_no_percentage() -> None:
    attributes = SCALED | {"power_now": "9120000"}

    assert capacities(attributes) == ("mWh", 57_000, 57_000, 41_610)


def test_a_new_pack_between_two_percents_is_no_percentage() -> None:
    attributes = SCALED | {"energy_now": "41777000"}

    assert capacities(attributes) == ("mWh", 57_000, 57_000, 41_777)


@pytest.mark.parametrize("dropped", ["capacity", "energy_now"])
def test_without_charge_or_percent_nothing_speaks_for_a_percentage(
    dropped: str,
) -> None:
    attributes = {k: v for k, v in SCALED.items() if k != dropped}

    assert capacities(attributes)[:3] == ("mWh", 57_000, 57_000)


def test_a_full_charge_of_100_is_a_percentage() -> None:
    # A kernel without the correction would show a wear of 99.8 %.
    attributes = without(energy_full="100000", energy_now="73000", capacity="73")

    assert capacities(attributes) == ("relative", None, 100, 73)


def test_a_full_charge_of_100_without_a_percent_file_keeps_what_is_left() -> None:
    attributes = without("capacity", energy_full="100000", energy_now="73000")

    assert capacities(attributes) == ("relative", None, 100, 73)


def test_a_pack_counted_in_percent_of_its_design_keeps_its_ratio() -> None:
    attributes = without(
        energy_full_design="100000", energy_full="87000", energy_now="60000"
    )

    assert capacities(attributes) == ("relative", 100, 87, 60)


def test_full_and_design_of_100_with_a_rate_are_a_ratio() -> None:
    attributes = without(
        energy_full_design="100000", energy_full="100000", energy_now="60000"
    )

    assert capacities(attributes) == ("relative", 100, 100, 60)


def test_full_and_design_of_100_without_a_rate_say_nothing_of_wear() -> None:
    attributes = without(
        "power_now",
        energy_full_design="100000",
        energy_full="100000",
        energy_now="60000",
        capacity="60",
    )

    assert capacities(attributes) == ("relative", None, 100, 60)


def test_a_pack_that_tells_only_its_charge_level_is_relative() -> None:
    assert capacities({"capacity": "64"}) == ("relative", None, 100, 64)


def test_a_pack_that_tells_nothing_has_no_capacities() -> None:
    assert capacities({"status": "Unknown"}) == ("mWh", None, None, None)


def test_temperature_is_in_tenths_of_a_degree() -> None:
    assert pack_from("BAT0", without(temp="312")).temperature_c == 31.2
    assert pack_from("BAT0", without(temp="-55")).temperature_c == -5.5


def test_a_date_of_manufacture_comes_from_three_attributes() -> None:
    dated = without(
        manufacture_year="2023", manufacture_month="3", manufacture_day="15"
    )

    assert pack_from("BAT0", dated).made_on == date(2023, 3, 15)


@pytest.mark.parametrize(
    ("year", "month", "day"),
    [("1980", "0", "0"), ("0", "1", "1"), ("2023", "2", "30"), ("9" * 19, "1", "1")],
)
def test_a_date_that_is_no_day_is_unknown(year: str, month: str, day: str) -> None:
    dated = without(manufacture_year=year, manufacture_month=month, manufacture_day=day)

    assert pack_from("BAT0", dated).made_on is None


def test_a_date_with_a_part_missing_is_unknown() -> None:
    assert pack_from("BAT0", without(manufacture_year="2023")).made_on is None


def test_a_true_minimum_voltage_is_no_design_voltage() -> None:
    attributes = without(voltage_max_design="13200000")

    assert pack_from("BAT0", attributes).design_voltage_mv is None


@pytest.mark.parametrize(("limit", "percent"), [("80", 80), ("100", 100), ("0", None)])
def test_a_charge_limit_is_read_and_zero_is_none(
    limit: str, percent: int | None
) -> None:
    pack = pack_from("BAT0", without(charge_control_end_threshold=limit))

    assert pack.charge_limit_percent == percent


@pytest.mark.parametrize(("margin", "percent"), [("0", 0), ("3", 3), ("-1", None)])
def test_the_error_margin_may_be_zero(margin: str, percent: int | None) -> None:
    pack = pack_from("BAT0", without(capacity_error_margin=margin))

    assert pack.error_margin_percent == percent


def test_blank_names_and_an_unknown_technology_are_absent() -> None:
    pack = pack_from(
        "BAT0",
        without(
            manufacturer="  ", model_name="\t", serial_number="", technology="Unknown"
        ),
    )

    assert (pack.maker, pack.model, pack.serial, pack.chemistry) == (None,) * 4


@given(st.dictionaries(st.sampled_from(SINGLE_FILES), st.text(max_size=12)))
def test_no_attribute_text_stops_it(attributes: dict[str, str]) -> None:
    assert pack_from("BAT0", attributes).slot == "BAT0"


@given(
    st.dictionaries(
        st.sampled_from(SINGLE_FILES), st.integers(-(10**12), 10**12).map(str)
    )
)
def test_capacities_come_from_one_unit_alone(attributes: dict[str, str]) -> None:
    pack = pack_from("BAT0", attributes)
    prefix = {"mWh": "energy", "mAh": "charge"}.get(pack.unit)

    if prefix is not None and pack.full_charge_capacity is not None:
        shown = int(attributes[f"{prefix}_full"])
        assert abs(pack.full_charge_capacity * 1000 - shown) <= 500
