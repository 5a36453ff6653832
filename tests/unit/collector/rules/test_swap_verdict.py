"""Was the right pack fitted, and is it a new one that works?"""

from dataclasses import replace

import pytest

from fadewatch_collector.rules.swap_verdict import (
    Arrival,
    PackKind,
    Verdict,
    judge_swap,
)
from fadewatch_common.policy import DEFAULT_POLICY

OLD = PackKind(
    maker="Callow Cells",
    model="CC-57",
    unit="mWh",
    design_capacity=57000,
    design_voltage_mv=11400,
)
NEW = Arrival(
    charge_percent=24,
    wear=-0.01,
    cycle_count=1,
    states=("discharging", "charging"),
    charges_percent=(24, 40),
    on_mains=True,
)


def judge(new: PackKind = OLD, arrival: Arrival = NEW, others: int = 0) -> Verdict:
    return judge_swap(OLD, new, arrival, others, DEFAULT_POLICY)


def test_the_same_type_new_and_charging_is_right() -> None:
    verdict = judge()

    assert verdict.is_right
    assert "It is a Callow Cells CC-57 like the one removed." in verdict.remarks
    assert "It charges." in verdict.remarks


def test_arriving_nearly_empty_is_normal_and_asks_for_a_charge() -> None:
    assert (
        "It arrived at 24 % charge, which is normal for a new pack: charge it before "
        "the laptop is issued." in judge().remarks
    )


@pytest.mark.parametrize("charge", [31, 60, 100])
def test_a_charged_pack_needs_no_such_remark(charge: float) -> None:
    verdict = judge(arrival=replace(NEW, charge_percent=charge))

    assert not any("arrived" in remark for remark in verdict.remarks)


@pytest.mark.parametrize(
    ("new", "arrival", "why"),
    [
        (replace(OLD, model="CC-41"), NEW, "no other laptop"),
        (replace(OLD, maker="Reedmace"), NEW, "no other laptop"),
        (replace(OLD, design_voltage_mv=7600), NEW, "7.60 V"),
        (replace(OLD, design_capacity=41000), NEW, "41000 mWh"),
        (OLD, replace(NEW, wear=0.12), "wear is 12.0 %"),
        (OLD, replace(NEW, cycle_count=312), "312 cycles"),
        (
            OLD,
            replace(NEW, charge_percent=0, states=("held",), charges_percent=(0,)),
            "does not charge",
        ),
    ],
)
def test_what_is_wrong_is_said(new: PackKind, arrival: Arrival, why: str) -> None:
    verdict = judge(new, arrival)

    assert not verdict.is_right
    assert any(why in sentence for sentence in verdict.wrong)


@pytest.mark.parametrize("voltage", [10800, 11100, 11550])
def test_cells_of_another_nominal_voltage_are_the_same_type(voltage: int) -> None:
    assert judge(replace(OLD, design_voltage_mv=voltage)).is_right


def test_another_type_that_the_fleet_carries_is_right() -> None:
    verdict = judge(replace(OLD, model="CC-58"), others=3)

    assert verdict.is_right
    assert any("3 other laptops" in remark for remark in verdict.remarks)


def test_a_pack_that_tells_no_model_is_to_be_looked_at() -> None:
    verdict = judge(replace(OLD, maker=None, model=None))

    assert verdict.is_right
    assert any("read its label" in remark for remark in verdict.remarks)


def test_an_empty_pack_off_mains_is_no_fault() -> None:
    flat = replace(
        NEW,
        charge_percent=0,
        states=("discharging",),
        charges_percent=(0,),
        on_mains=False,
    )

    assert judge(arrival=flat).is_right


def test_a_charge_that_rises_is_charging_though_no_state_says_so() -> None:
    arrival = replace(NEW, states=("unknown", "unknown"), charges_percent=(20, 35))

    assert "It charges." in judge(arrival=arrival).remarks


def test_the_pack_that_puts_a_wrong_one_right_is_right() -> None:
    wrong = replace(OLD, model="CC-99", design_capacity=24000, design_voltage_mv=15400)

    verdict = judge_swap(wrong, OLD, NEW, 0, DEFAULT_POLICY, was_here_before=True)

    assert verdict.is_right
    assert any("carried the new type before" in remark for remark in verdict.remarks)


def test_a_type_that_others_carry_may_differ_from_the_wrong_one_removed() -> None:
    wrong = replace(OLD, model="CC-99", design_capacity=24000, design_voltage_mv=15400)

    assert judge_swap(wrong, OLD, NEW, 1, DEFAULT_POLICY).is_right


def test_an_empty_pack_that_does_not_charge_did_not_arrive_as_packs_do() -> None:
    dead = replace(NEW, charge_percent=0, states=("held",), charges_percent=(0,))

    assert not any("normal" in remark for remark in judge(arrival=dead).remarks)


def test_a_pack_that_hides_its_model_or_replaces_one_that_did_is_not_called_wrong() -> (
    None
):
    nameless = replace(OLD, model=None)

    hidden = judge(nameless)
    before = judge_swap(nameless, OLD, NEW, 0, DEFAULT_POLICY)

    assert "The new pack does not tell its model: read its label." in hidden.remarks
    assert (hidden.wrong, before.wrong) == ((), ())


def test_unknown_wear_is_said_and_not_taken_for_new() -> None:
    verdict = judge(arrival=replace(NEW, wear=None))

    assert "Its wear is not known yet." in verdict.remarks


def test_designs_that_are_not_told_are_not_compared() -> None:
    verdict = judge(replace(OLD, design_voltage_mv=None, design_capacity=None))

    assert verdict.is_right
