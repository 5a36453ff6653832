"""Charge, charging, voltage and temperature, as at the bench."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fadewatch_common.report import Pack
from tests.bench_facts import PACK, checked, history, only, slot_of

HALF = 24_250


def pack(**changes: Any) -> Pack:
    return replace(PACK, **changes)


@pytest.mark.parametrize(
    ("read", "mains", "severity", "words"),
    [
        (pack(), True, "note", "It charges, at 80 %."),
        (pack(state="full"), True, "note", "It is full"),
        (
            pack(state="held", charge_limit_percent=80),
            True,
            "note",
            "rests at 80 %, at its limit of 80 %",
        ),
        (pack(state="held"), True, "note", "at a charge limit, it seems"),
        (
            pack(state="held", remaining_capacity=HALF, charge_limit_percent=80),
            True,
            "remark",
            "does not charge, at 50 %, below its limit of 80 %",
        ),
        (
            pack(state="held", remaining_capacity=HALF),
            True,
            "remark",
            "does not charge, at 50 %:",
        ),
        (
            pack(state="unknown", remaining_capacity=HALF),
            True,
            "remark",
            "does not charge",
        ),
        (pack(state="discharging"), True, "remark", "still discharges, at 80 %"),
        (pack(state="discharging"), False, "remark", "charging was not seen"),
        (pack(state="discharging"), None, "remark", "Mains unknown"),
    ],
)
def test_charging_is_judged_by_state_mains_and_limit(
    read: Pack, mains: bool | None, severity: str, words: str
) -> None:
    remark = only(checked(read, mains_online=mains), "charging")

    assert remark.severity == severity
    assert words in remark.sentence


def test_a_pack_may_wait_while_another_one_charges() -> None:
    waiting = pack(slot="BAT1", serial="2B", state="held", remaining_capacity=HALF)

    found = checked(PACK, waiting)

    (remark,) = (r for r in found.remarks if r.kind == "charging" and r.slot == "BAT1")
    assert remark.severity == "note"


@pytest.mark.parametrize(
    ("charged_on", "severity"),
    [(date(2026, 11, 20), "note"), (date(2026, 9, 1), "remark"), (None, "remark")],
)
def test_charging_seen_lately_by_the_collector_counts(
    charged_on: date | None, severity: str
) -> None:
    read = pack(state="discharging")
    slot = slot_of(read, history=history(charged_on=charged_on))

    found = checked(read, slots=[slot], mains_online=False)

    assert only(found, "charging").severity == severity


@pytest.mark.parametrize(
    ("remaining", "words"), [(1_500, "3 % charge, too little"), (None, "not told")]
)
def test_a_charge_that_tells_nothing_is_a_remark(
    remaining: int | None, words: str
) -> None:
    remark = only(checked(pack(remaining_capacity=remaining)), "charge")

    assert (remark.severity, words in remark.sentence) == ("remark", True)


@pytest.mark.parametrize(
    ("voltage", "severity"),
    # 11.4 V nominal is three cells: 7.9 V is 2.6 V a cell, 15 V is 5 V a cell.
    [(7_900, "stops"), (9_200, None), (13_200, None), (15_000, "remark")],
)
def test_a_voltage_that_cells_do_not_have_is_told(
    voltage: int, severity: str | None
) -> None:
    found = [
        r for r in checked(pack(voltage_mv=voltage)).remarks if r.kind == "voltage"
    ]

    assert [remark.severity for remark in found] == ([severity] if severity else [])


@pytest.mark.parametrize(
    ("celsius", "severity", "look_first"),
    [
        (-3.0, "remark", False),
        (0.0, None, False),
        (40.0, None, False),
        (43.0, "remark", False),
        (61.0, "stops", True),
    ],
)
def test_packs_are_charged_between_0_and_40_degrees(
    celsius: float, severity: str | None, look_first: bool
) -> None:
    found = checked(pack(temperature_c=celsius))

    heat = [r.severity for r in found.remarks if r.kind == "temperature"]
    assert heat == ([severity] if severity else [])
    assert found.look_first is look_first
