"""Identity, slots, and the pack after a change."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fadewatch_common.bench.facts import SeenPack
from fadewatch_common.bench.sameness import is_same_pack
from fadewatch_common.bench.verdict import BenchCheck, check
from fadewatch_common.report import Pack
from tests.bench_facts import PACK, TODAY, checked, facts, only, slot_of, worn

OLD = worn(35, serial="OLD1", cycle_count=700)
NEW = worn(0, serial="NEW1", cycle_count=1, remaining_capacity=14_000)


def after_change(new: Pack = NEW, old: Pack = OLD, **known: Any) -> BenchCheck:
    """Check a laptop whose pack was exchanged since it was seen last."""
    return checked(new, slots=[slot_of(old)], new_pack=True, **known)


def sentences(found: BenchCheck, severity: str) -> list[str]:
    return [
        remark.sentence
        for remark in found.remarks
        if remark.kind == "new-pack" and remark.severity == severity
    ]


def test_a_new_pack_of_the_same_type_that_charges_is_ready() -> None:
    found = after_change()

    assert found.verdict == "ready"
    assert sentences(found, "note") == [
        "It is Tarn Cells TC-57 like the one before, Tarn Cells TC-57, serial OLD1."
    ]
    # 28 % on arrival: packs are shipped with 30 % at most.
    assert "28 % charge; up to 30 % is normal" in only(found, "charge").sentence


def test_a_used_pack_is_not_new() -> None:
    found = after_change(worn(9, serial="NEW1", cycle_count=44))

    assert sentences(found, "stops") == [
        "It is not new: wear is 9 %, a new pack has at most 5 %.",
        "It is not new: it has 44 cycles, a new pack has at most 5.",
    ]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"design_voltage_mv": 15_200}, "Its design voltage is 15.20 V"),
        ({"design_capacity": 60_000, "full_charge_capacity": 60_000}, "60000 mWh"),
        ({"chemistry": "Li-ion"}, "Its chemistry is Li-ion"),
        ({"model": "TC-80", "design_voltage_mv": None}, "not the same type"),
    ],
)
def test_another_type_is_not_ready(changes: dict[str, Any], words: str) -> None:
    (sentence, *_) = sentences(after_change(replace(NEW, **changes)), "stops")

    assert words in sentence


def test_another_model_of_equal_figures_is_a_remark() -> None:
    found = after_change(replace(NEW, model="TC-57B"))

    assert found.verdict == "ready-with-remarks"
    assert "check that the maker lists it" in sentences(found, "remark")[0]


def test_an_unchanged_pack_is_not_taken_for_a_new_one() -> None:
    found = checked(NEW, slots=[slot_of(NEW)], new_pack=True)

    (sentence,) = sentences(found, "stops")
    assert sentence == (
        "No change was seen: Tarn Cells TC-57, serial NEW1 has been here since "
        "1 January 2025."
    )


@pytest.mark.parametrize(
    ("since", "verdict"), [(TODAY, "ready"), (date(2026, 8, 1), "not-ready")]
)
def test_a_change_counts_for_a_month(since: date, verdict: str) -> None:
    before = SeenPack(pack=OLD, seen_on=since)
    slot = slot_of(NEW, since=since, before=before)

    assert checked(NEW, slots=[slot], new_pack=True).verdict == verdict


def test_without_anything_kept_the_type_cannot_be_compared() -> None:
    found = checked(NEW, new_pack=True)

    assert found.verdict == "ready-with-remarks"
    assert "Nothing is kept of the pack before it" in sentences(found, "remark")[0]


def test_an_empty_new_pack_that_does_not_charge_is_not_ready() -> None:
    dead = replace(NEW, remaining_capacity=0, state="held")

    assert "0 % and does not charge" in sentences(after_change(dead), "stops")[0]


def test_a_laptop_without_a_pack_is_not_ready() -> None:
    known = facts()
    bare = replace(known, packs=(), reading=replace(known.reading, packs=()))

    found = check(bare)

    assert found.verdict == "not-ready"
    assert only(found, "no-pack").sentence.startswith("0 packs were found")


def test_a_slot_that_lost_its_pack_is_told_for_a_while() -> None:
    gone = replace(PACK, slot="BAT1", serial="9C1")
    lately = slot_of(gone, seen=SeenPack(pack=gone, seen_on=date(2026, 10, 1)))
    long_ago = slot_of(gone, seen=SeenPack(pack=gone, seen_on=date(2025, 10, 1)))

    remark = only(checked(PACK, slots=[lately]), "no-pack")
    assert (remark.slot, remark.severity) == ("BAT1", "remark")
    assert "serial 9C1 was last seen there on 1 October 2026" in remark.sentence
    assert checked(PACK, slots=[long_ago]).verdict == "ready"


@pytest.mark.parametrize("serial", [None, "0000", "  "])
def test_a_pack_without_a_serial_is_read_from_its_label(serial: str | None) -> None:
    remark = only(checked(replace(PACK, serial=serial)), "identity")

    assert remark.severity == "remark"
    assert remark.sentence == (
        "It tells no serial (1 of 3 that name a pack): read the label and write it "
        "down."
    )


@pytest.mark.parametrize(
    ("one", "other", "is_same"),
    [
        ({}, {"cycle_count": 61}, True),
        ({}, {"serial": "other"}, False),
        ({"serial": None}, {"serial": None, "cycle_count": 70}, True),
        ({"serial": None, "cycle_count": 700}, {"serial": None}, False),
        ({"serial": "0"}, {"serial": None, "design_capacity": 57_000}, False),
        ({"serial": None}, {}, False),
    ],
)
def test_packs_are_told_apart(
    one: dict[str, Any], other: dict[str, Any], is_same: bool
) -> None:
    assert is_same_pack(replace(PACK, **one), replace(PACK, **other)) is is_same


def test_a_pack_without_a_model_is_compared_by_its_label() -> None:
    found = after_change(replace(NEW, model=None))

    assert "Its model or that of the one before is not told: compare labels." in (
        sentences(found, "remark")
    )


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ({"serial": None}, {"serial": None}, True),
        ({"serial": None}, {"serial": "1A2B"}, False),
        ({"serial": None, "unit": "mAh"}, {"serial": None}, True),
        ({"serial": None, "design_capacity": None}, {"serial": None}, True),
        ({"serial": None}, {"serial": None, "design_capacity": 60_000}, False),
        ({"serial": None, "cycle_count": None}, {"serial": None}, True),
        ({"serial": None}, {"serial": None, "cycle_count": 3}, False),
        ({"serial": None}, {"serial": None, "maker": "Callow"}, False),
    ],
)
def test_weak_identities_are_told_apart_by_what_does_not_change(
    one: dict[str, Any], other: dict[str, Any], same: bool
) -> None:
    assert is_same_pack(replace(PACK, **one), replace(PACK, **other)) is same
