"""What a visit sheet says: matters, what to bring, what to do, and in which order."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from fadewatch_collector.rules.alert_terms import ALERT_KINDS, AlertKind, Urgency
from fadewatch_collector.rules.cautions import (
    BEFORE_OPENING_CAUTIONS,
    STOP_USE_CAUTIONS,
)
from fadewatch_collector.rules.visit_facts import FittedPack, OpenAlert, VisitedLaptop
from fadewatch_collector.rules.visit_matters import LONGEST
from fadewatch_collector.rules.visits import (
    MOST_MATTERS,
    VisitSheet,
    visit_sheet,
)
from fadewatch_common.policy import DEFAULT_POLICY

TODAY = date(2026, 3, 1)
SOUND = FittedPack(
    pack_id=1,
    slot="BAT0",
    maker="Veldan",
    model="VC-52",
    serial="0417",
    chemistry="Li-ion",
    unit="mWh",
    design_capacity=52_000,
    design_voltage_mv=11_400,
    full_charge_capacity=46_000,
    cycle_count=210,
    wear=0.115,
    band="sound",
    concern="none",
    plan_earliest=date(2027, 1, 1),
    plan_on=date(2027, 9, 1),
    plan_latest=date(2028, 9, 1),
    replace_on=date(2029, 1, 1),
    reasons=("It loses 0.5 % a month.",),
)
WORN = replace(
    SOUND, wear=0.43, band="replace", concern="replace", plan_on=None, replace_on=None
)
ENOUGH = {"total_mib": 16_384, "slots": [{"locator": "DIMM A", "size_mib": 16_384}]}
GOOD_DRIVE = {"name": "nvme0n1", "kind": "nvme", "size_bytes": 512 * 10**9}
LAPTOP = VisitedLaptop(
    id=41,
    hostname="har-lt-041",
    maker="Tarnbrook",
    model="Foil 14",
    serial="TB0041",
    site="Harbour House",
    asset_tag="A-4041",
    holder="Desk 41",
    last_report_at=datetime(2026, 2, 28, 8, tzinfo=UTC),
    memory=ENOUGH,
    drives=[GOOD_DRIVE],
    packs=(SOUND,),
    alerts=(),
)


def alert(
    kind: AlertKind, urgency: Urgency = "act", pack_id: int | None = 1, number: int = 7
) -> OpenAlert:
    return OpenAlert(
        id=number, kind=kind, urgency=urgency, pack_id=pack_id, reasons=("Because.",)
    )


def sheet(until: date = TODAY, **changes: Any) -> VisitSheet:
    return visit_sheet(replace(LAPTOP, **changes), DEFAULT_POLICY, until)


def heads(made: VisitSheet) -> list[str]:
    return [matter.head for matter in made.matters]


def works(made: VisitSheet) -> list[str]:
    return [step.work for step in made.steps if step.work]


def test_a_sound_laptop_has_nothing_to_do_and_is_not_opened() -> None:
    made = sheet()

    assert (made.matters, made.bring, made.opens) == ((), (), False)
    assert works(made) == []


def test_a_pack_that_crosses_within_the_horizon_is_changed_at_this_visit_too() -> None:
    before = sheet(until=date(2027, 8, 31))
    after = sheet(until=date(2027, 9, 1))

    assert heads(before) == []
    assert heads(after) == ["New pack for slot BAT0"]
    (why,) = after.matters[0].why
    assert "11.5 %" in why
    assert "2027-09-01" in why


def test_the_work_of_an_open_laptop_stands_in_the_order_of_the_hands() -> None:
    little = {
        "total_mib": 4096,
        "slots": [
            {"locator": "DIMM A", "size_mib": 4096},
            {"locator": "DIMM B", "size_mib": 0},
        ],
    }
    hard_disk = {"name": "sda", "kind": "hdd", "size_bytes": 500 * 10**9}
    made = sheet(packs=(WORN,), memory=little, drives=[hard_disk])

    assert works(made) == ["pack", "memory", "drive", "cleaned", "hinges", "cable"]
    assert works(sheet(packs=(WORN,))) == ["pack", "cleaned", "hinges", "cable"]
    assert made.cautions == BEFORE_OPENING_CAUTIONS


def test_each_pack_to_change_is_brought_by_its_type() -> None:
    second = replace(WORN, pack_id=2, slot="BAT1", model="VC-57X")
    made = sheet(packs=(WORN, second))

    assert made.bring[0] == (
        "Pack for slot BAT0: Veldan VC-52, 52.0 Wh, 11.4 V, Li-ion."
    )
    assert made.bring[1].startswith("Pack for slot BAT1: Veldan VC-57X")


def test_matters_of_one_laptop_are_joined_and_the_most_urgent_comes_first() -> None:
    made = sheet(
        packs=(replace(WORN, band="plan", concern="plan", wear=0.33),),
        alerts=(
            alert("gauge-doubt", "note"),
            alert("wear-plan", "plan", number=8),
            alert("sudden-drop", "act", number=9),
        ),
    )

    assert [matter.urgency for matter in made.matters] == ["act", "plan", "note"]
    assert heads(made)[1] == "New pack for slot BAT0"


@pytest.mark.parametrize(
    "changes",
    [
        {"alerts": (alert("swelling-reported", "stop-use"),)},
        {"alerts": (alert("swelling-reported", "stop-use", None),)},
        {"packs": (replace(WORN, concern="stop-use"),)},
    ],
)
def test_a_laptop_to_stop_using_is_handed_over_and_never_opened(
    changes: dict[str, Any],
) -> None:
    made = sheet(**({"packs": (WORN,)} | changes))

    assert made.stop_use
    assert not made.opens
    assert made.cautions == STOP_USE_CAUTIONS
    assert made.matters[0].urgency == "stop-use"
    assert not any("Screwdriver" in thing for thing in made.bring)
    assert all("Tighten" not in step.text for step in made.steps)
    assert "trained staff" in " ".join(step.text for step in made.steps)


def test_signs_are_looked_for_before_anything_is_done() -> None:
    made = sheet(packs=(WORN,))

    assert made.first[0].text.startswith("Look for signs")
    assert "do not charge or open it" in made.first[0].text


def test_a_pack_with_a_doubtful_gauge_is_run_down_unless_it_goes_or_is_looked_at() -> (
    None
):
    def runs_down(made: VisitSheet) -> bool:
        return any(step.text.startswith("Gauge") for step in made.first)

    doubt = alert("gauge-doubt", "note")
    assert runs_down(sheet(alerts=(doubt,)))
    assert not runs_down(sheet(packs=(WORN,), alerts=(doubt,)))
    assert not runs_down(sheet(alerts=(doubt, alert("inspect"))))


def test_a_figure_that_asks_for_a_look_is_a_matter_without_an_alert_too() -> None:
    looked = replace(SOUND, concern="inspect", reasons=("Capacity fell.",))

    assert heads(sheet(packs=(looked,))) == ["Inspect the pack in slot BAT0"]
    assert heads(sheet(packs=(looked,), alerts=(alert("inspect"),))) == [
        "Inspect the pack, slot BAT0"
    ]


def test_after_a_change_the_bench_check_asks_for_a_new_pack() -> None:
    with_pack = " ".join(step.text for step in sheet(packs=(WORN,)).checks)
    without = " ".join(step.text for step in sheet().checks)

    assert "--new-pack" in with_pack
    assert "nearly empty" in with_pack
    assert "--new-pack" not in without


def test_a_sheet_is_bounded_however_much_there_is() -> None:
    packs = tuple(replace(WORN, pack_id=n, slot=f"BAT{n}") for n in range(1, 12))
    alerts = tuple(
        replace(alert(kind, number=n), pack_id=n % 12, reasons=("x" * 900,) * 9)
        for n, kind in enumerate(ALERT_KINDS * 3, 1)
        if kind != "swelling-reported"
    )
    slots = [{"locator": f"D{n}", "size_mib": 512} for n in range(32)]
    made = sheet(
        packs=packs, alerts=alerts, memory={"total_mib": 16_384, "slots": slots}
    )

    assert len(made.matters) == MOST_MATTERS
    assert made.more_matters > 0
    assert all(len(line) <= LONGEST for matter in made.matters for line in matter.why)
    assert len(made.memory.fitted) < 10
    assert len(made.bring) < 10


def test_a_pack_that_does_not_tell_its_model_is_looked_at_before_one_is_ordered() -> (
    None
):
    made = sheet(packs=(replace(WORN, model="0000"),))

    assert made.bring[0].endswith("; read its label before you order.")


def test_a_laptop_opened_for_its_memory_alone_keeps_its_pack() -> None:
    slots = [
        {"locator": name, "size_mib": size} for name, size in (("A", 4096), ("B", 0))
    ]
    little = {"total_mib": 4096, "slots": slots}

    assert works(sheet(memory=little)) == ["memory", "cleaned", "hinges"]


def test_an_alert_on_wear_that_fell_back_or_is_unknown_says_so() -> None:
    asked = (alert("wear-plan", "plan"),)
    back = replace(SOUND, wear=0.29, plan_on=None, replace_on=None)

    below = sheet(packs=(back,), alerts=asked)
    unknown = sheet(packs=(replace(back, wear=None, band="unknown"),), alerts=asked)

    assert below.matters[0].why == (
        "Wear is 29.0 %, just below the plan threshold of 30 % again.",
    )
    assert unknown.matters[0].why == (
        "Its wear is not known; an alert asks for a new pack.",
    )
