"""Gauge doubts: when wear is not known, or not to be believed."""

from dataclasses import replace
from datetime import date

import pytest

from fadewatch_common.bench.facts import SeenPack
from fadewatch_common.report import Pack
from tests.bench_facts import PACK, checked, history, only, slot_of, worn

UNKNOWN_WEAR: list[tuple[Pack, str]] = [
    (replace(PACK, design_capacity=None), "does not tell its design capacity"),
    (replace(PACK, full_charge_capacity=None), "not tell its full-charge capacity"),
    (
        replace(PACK, unit="relative", design_capacity=None, full_charge_capacity=100),
        "gives only a percentage",
    ),
    (
        replace(PACK, full_charge_capacity=70_000),
        "a full charge of 70000 mWh for a design of 50000 mWh cannot be",
    ),
    (replace(PACK, full_charge_capacity=900), "cannot be"),
    (
        replace(PACK, full_charge_capacity=50_000),
        "exactly the design capacity after 60 cycles",
    ),
]


@pytest.mark.parametrize(("pack", "why"), UNKNOWN_WEAR, ids=lambda one: str(one)[:20])
def test_unknown_wear_is_never_taken_for_none(pack: Pack, why: str) -> None:
    found = checked(pack)

    remark = only(found, "wear")
    assert (found.verdict, remark.figures["wear_percent"]) == ("not-ready", None)
    assert why in remark.sentence


def test_a_new_pack_may_show_exactly_its_design_capacity() -> None:
    new = replace(PACK, full_charge_capacity=50_000, cycle_count=2)

    assert checked(new).verdict == "ready"


def test_a_pack_above_its_design_capacity_has_no_wear_below_nothing() -> None:
    above = replace(PACK, full_charge_capacity=53_000, cycle_count=2)

    assert only(checked(above), "service").sentence.startswith("Wear is 0 % ")


def test_a_gauge_that_a_history_calls_frozen_tells_no_wear() -> None:
    slot = slot_of(PACK, history=history(gauge="frozen", wear=None))

    assert "never learnt" in only(checked(PACK, slots=[slot]), "wear").sentence


def test_a_fall_that_fade_does_not_explain_asks_for_a_look() -> None:
    # 15 % today, 3 % in its history of today.
    found = checked(worn(15), slots=[slot_of(worn(15), history=history())])

    remark = only(found, "gauge")
    assert (found.verdict, found.look_first) == ("not-ready", True)
    assert remark.figures["lost_percent"] == pytest.approx(12)


def test_the_agents_own_last_reading_shows_a_fall_as_well() -> None:
    last = SeenPack(pack=worn(3), seen_on=date(2026, 10, 25))
    fallen = checked(worn(15), slots=[slot_of(worn(15), seen=last)])
    long_ago = replace(last, seen_on=date(2024, 11, 25))
    faded = checked(worn(15), slots=[slot_of(worn(15), seen=long_ago)])

    # Two years at 0.7 % a month explain 16.8 %.
    assert fallen.look_first
    assert not faded.look_first


@pytest.mark.parametrize(
    ("pack", "words"),
    [
        # 600 cycles at 0.01 % each: 6 % at least.
        (worn(3, cycle_count=600), "little for 600 cycles, where 6 % is the least"),
        (worn(18, cycle_count=30), "much for 30 cycles"),
        (worn(3, error_margin_percent=40), "an error of 40 %"),
    ],
)
def test_wear_and_cycles_that_do_not_agree_are_told(pack: Pack, words: str) -> None:
    remark = only(checked(pack, service_years=0.5), "gauge")

    assert remark.severity == "remark"
    assert words in remark.sentence


@pytest.mark.parametrize(
    ("gauge", "verdict"),
    [
        ("noisy", "ready-with-remarks"),
        ("implausible", "ready-with-remarks"),
        ("stale", "ready"),
        ("good", "ready"),
    ],
)
def test_what_a_history_says_of_the_gauge_is_told(gauge: str, verdict: str) -> None:
    slot = slot_of(PACK, history=history(gauge=gauge))

    assert checked(PACK, slots=[slot]).verdict == verdict
