"""Which pack is it: by what it says of itself, or by how its figures move."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fadewatch_collector.rules.identity import (
    PackFigures,
    figures_of,
    is_same_weak_pack,
    pack_identity,
)
from tests.reports import PACK

BEFORE = PackFigures("Callow Cells", "CC-57", "mWh", 57000, 40000, 321)


def test_identity_holds_all_four_parts() -> None:
    pack = replace(PACK, made_on=date(2023, 11, 2))

    assert pack_identity(pack) == "Callow Cells|CC-57|00417|2023-11-02"


@pytest.mark.parametrize("part", ["maker", "model", "serial", "made_on"])
def test_packs_that_differ_in_one_part_differ(part: str) -> None:
    dated = replace(PACK, made_on=date(2023, 11, 2))
    change: dict[str, Any] = {part: "other 7"}
    if part == "made_on":
        change = {part: date(2023, 11, 3)}

    assert pack_identity(replace(dated, **change)) != pack_identity(dated)


@pytest.mark.parametrize("serial", [None, "", " ", "0", "0000", "FFFF", "Unknown"])
def test_a_serial_that_identifies_nothing_gives_no_identity(
    serial: str | None,
) -> None:
    assert pack_identity(replace(PACK, serial=serial)) is None


@pytest.mark.parametrize(
    ("before", "now", "days", "same"),
    [
        (250, 3, 1, True),
        (250, 20, 1, False),
        (250, 20, 30, True),  # cycles passed while nothing was heard
        (454, 1, 60, False),  # past 255: no 8-bit count
        (400, 5, 60, False),
    ],
)
def test_a_count_may_wrap_while_nothing_is_heard(
    before: int, now: int, days: int, same: bool
) -> None:
    one, other = replace(BEFORE, cycle_count=before), replace(BEFORE, cycle_count=now)

    assert is_same_weak_pack(one, other, days) is same


@pytest.mark.parametrize(
    ("design", "voltage", "same"),
    [
        (5000, 11400, True),
        (4400, 11400, False),
        (5000, None, True),
        (90000, None, False),
    ],
)
def test_a_change_of_unit_is_weighed_by_the_design_voltage(
    design: int, voltage: int | None, same: bool
) -> None:
    now = replace(BEFORE, unit="mAh", design_capacity=design, design_voltage_mv=voltage)

    assert is_same_weak_pack(BEFORE, now) is same


def test_figures_are_those_of_the_reading() -> None:
    assert figures_of(PACK) == PackFigures(
        "Callow Cells", "CC-57", "mWh", 57000, 54150, 61, 11400
    )


@pytest.mark.parametrize(
    ("change", "same"),
    [
        ({}, True),
        ({"cycle_count": 325, "full_charge_capacity": 39000}, True),
        ({"full_charge_capacity": 44000}, True),  # relearned: 7 % of design back
        ({"cycle_count": 65}, True),  # 321 truncated to 8 bits
        ({"cycle_count": 67}, True),  # and two cycles on
        ({"cycle_count": None, "maker": None}, True),
        ({"design_capacity": None}, True),
        ({"cycle_count": 3}, False),
        ({"cycle_count": 300}, False),
        ({"design_capacity": 52000}, False),
        ({"unit": "mAh"}, False),
        ({"maker": "Other Cells"}, False),
        ({"model": "CC-58"}, False),
        ({"full_charge_capacity": 56800}, True),  # one reading is no proof of a jump
    ],
)
def test_a_weak_pack_is_known_by_how_its_figures_move(
    change: dict[str, Any], same: bool
) -> None:
    assert is_same_weak_pack(BEFORE, replace(BEFORE, **change)) is same


def test_a_unit_that_changes_without_a_design_to_compare_is_another_pack() -> None:
    other = replace(BEFORE, unit="mAh", design_capacity=None)

    assert not is_same_weak_pack(BEFORE, other)
