"""What a person is told of an assessment, and of what happened to a laptop."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from fadewatch_collector.rules.assessment import (
    Assessment,
    Crossings,
    Knee,
    SuddenDrop,
)
from fadewatch_collector.rules.event_findings import hardware_finding
from fadewatch_collector.rules.findings import pack_findings
from fadewatch_collector.rules.inventory import Change
from fadewatch_common.policy import DEFAULT_POLICY

CALM = Assessment(
    pack_id="7",
    as_of=date(2026, 3, 31),
    readings=200,
    wear_percent=12.0,
    band="sound",
    fade_percent_per_month=None,
    crossings=Crossings(plan=None, replace=None),
    sudden_drop=None,
    knee=None,
    gauge="good",
    concern="none",
    reasons=("Wear is 12.0 %.",),
)
DROP = SuddenDrop(on=date(2026, 3, 1), percent=14.0, confirmed=True)


def kinds(assessment: Assessment) -> list[str]:
    return [one.kind for one in pack_findings(assessment, set(), DEFAULT_POLICY)]


def test_a_calm_pack_and_one_of_unknown_wear_raise_nothing() -> None:
    assert kinds(CALM) == []
    assert kinds(replace(CALM, wear_percent=None, band="unknown")) == []


@pytest.mark.parametrize(
    ("concern", "urgency", "step"),
    [("inspect", "act", "Inspect the pack"), ("stop-use", "stop-use", "switched off")],
)
def test_a_confirmed_drop_asks_for_one_look_by_itself(
    concern: str, urgency: str, step: str
) -> None:
    fallen = replace(CALM, sudden_drop=DROP, concern=concern)  # type: ignore[arg-type]  # parametrised

    (finding,) = pack_findings(fallen, set(), DEFAULT_POLICY)

    assert (finding.kind, finding.urgency) == ("sudden-drop", urgency)
    assert step in finding.next_step
    assert finding.figures["drop_percent"] == 14.0


def test_a_drop_without_reasons_says_its_own_figure() -> None:
    fallen = replace(CALM, sudden_drop=DROP, concern="inspect", reasons=())

    (finding,) = pack_findings(fallen, set(), DEFAULT_POLICY)

    assert finding.reasons == ("Around 2026-03-01 capacity fell by 14 % of design.",)


def test_an_inspection_without_a_confirmed_drop_is_a_matter_of_its_own() -> None:
    unsure = replace(CALM, sudden_drop=replace(DROP, confirmed=False))

    assert kinds(replace(unsure, concern="inspect")) == ["inspect"]


def test_a_knee_tells_both_rates() -> None:
    bent = replace(CALM, knee=Knee(date(2026, 2, 1), 0.8, 3.1))

    (finding,) = pack_findings(bent, set(), DEFAULT_POLICY)

    assert finding.kind == "fast-fade"
    assert "fade went from 0.8 to 3.1 % a month" in finding.reasons[0]


@pytest.mark.parametrize("gauge", ["frozen", "noisy", "implausible"])
def test_a_gauge_not_to_be_believed_is_told(gauge: str) -> None:
    assert kinds(replace(CALM, gauge=gauge)) == ["gauge-doubt"]  # type: ignore[arg-type]  # parametrised


def test_a_stale_gauge_is_told_to_nobody() -> None:
    assert kinds(replace(CALM, gauge="stale")) == []


def test_memory_and_drives_that_changed_are_named_with_their_sizes() -> None:
    changes = [
        Change("memory", {"locator": "A", "size_mib": 8192}, None),
        Change(
            "memory",
            {"locator": "B", "size_mib": 0},
            {"locator": "B", "size_mib": 16384},
        ),
        Change("drive", None, {"model": "Fen 512", "size_bytes": 512 * 10**9}),
        Change("drive", {"size_bytes": 256 * 10**9}, None),
    ]

    finding = hardware_finding(changes, datetime(2026, 3, 1, tzinfo=UTC))

    assert finding.reasons == (
        "Memory is different since 2026-03-01: A 8 GiB before, none now.",
        "Memory is different since 2026-03-01: B empty before, B 16 GiB now.",
        "A drive is different since 2026-03-01: none before, Fen 512 512 GB now.",
        "A drive is different since 2026-03-01: 256 GB before, none now.",
    )
