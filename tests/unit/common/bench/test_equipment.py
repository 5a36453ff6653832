"""Memory and drives against the policy, alerts, and old readings."""

from datetime import date

import pytest

from fadewatch_common.bench.facts import Matter
from fadewatch_common.policy import Policy
from fadewatch_common.report import FIRMWARE_RECORD, Drive, Memory, MemorySlot
from tests.bench_facts import checked, only

SLOTS = (MemorySlot(locator="A", size_mib=4096), MemorySlot(locator="B", size_mib=0))


@pytest.mark.parametrize(
    ("memory", "severity", "words"),
    [
        (Memory(total_mib=4096, slots=SLOTS), "stops", "is 4 GiB, below the 8 GiB"),
        (Memory(total_mib=8192, slots=SLOTS), "note", "1 of 2 slots is empty"),
        # What a kernel may use of 8 GiB, without root.
        (Memory(total_mib=7_700), "note", "cannot be seen without root"),
        (Memory(total_mib=3_800), "stops", "below the 8 GiB"),
        (None, "remark", "could not be read"),
    ],
)
def test_memory_is_held_against_the_policy(
    memory: Memory | None, severity: str, words: str
) -> None:
    remark = only(checked(memory=memory), "memory")

    assert (remark.severity, words in remark.sentence) == (severity, True)


def drive(gigabytes: float, kind: str = "ssd") -> Drive:
    return Drive(name="sda", size_bytes=int(gigabytes * 1e9), kind=kind)  # type: ignore[arg-type]  # parametrised


@pytest.mark.parametrize(
    ("drives", "verdict"),
    [
        ((drive(240.06),), "ready"),
        ((drive(128),), "not-ready"),
        ((drive(128), drive(512)), "ready"),
        ((drive(500, "hdd"),), "ready-with-remarks"),
        ((drive(500, "hdd"), drive(250)), "ready"),
        ((), "ready-with-remarks"),
    ],
)
def test_the_largest_drive_is_held_against_the_policy(
    drives: tuple[Drive, ...], verdict: str
) -> None:
    assert checked(drives=drives).verdict == verdict


def test_a_policy_of_0_asks_for_nothing() -> None:
    nothing = Policy(least_memory_mib=0, least_storage_gb=0)

    found = checked(
        policy=nothing, drives=(drive(16),), memory=Memory(total_mib=512, slots=SLOTS)
    )

    assert found.verdict == "ready"


@pytest.mark.parametrize(
    ("kind", "urgency", "verdict", "look_first"),
    [
        ("swelling-reported", "stop-use", "not-ready", True),
        ("sudden-drop", "act", "not-ready", True),
        ("wrong-pack", "act", "not-ready", False),
        ("fast-fade", "plan", "ready-with-remarks", False),
        ("silent", "note", "ready", False),
        ("wear-plan", "plan", "ready", False),
    ],
)
def test_open_alerts_stand_in_the_way_by_their_kind(
    kind: str, urgency: str, verdict: str, look_first: bool
) -> None:
    matter = Matter(kind=kind, urgency=urgency, sentence="Seen on 1 May.")

    found = checked(matters=[matter])

    assert (found.verdict, found.look_first) == (verdict, look_first)


def test_an_old_reading_is_to_be_taken_again() -> None:
    remark = only(checked(read_on=date(2026, 10, 1)), "reading")

    assert (
        remark.sentence == "It was last read 55 days ago: read it again on the bench."
    )


def test_the_firmwares_record_of_the_start_is_a_remark_when_it_disagrees() -> None:
    said = f"BAT0: design capacity is 50000 mWh, but 57000 mWh {FIRMWARE_RECORD}"

    found = checked(remarks=(said, "memory: hidden"))

    assert found.verdict == "ready-with-remarks"
    assert [r.severity for r in found.remarks if r.kind == "reading"] == ["note"]


def test_memory_with_every_slot_in_use_says_so() -> None:
    full = Memory(total_mib=8192, slots=(SLOTS[0], SLOTS[0]))

    assert "No slot is empty." in only(checked(memory=full), "memory").sentence
