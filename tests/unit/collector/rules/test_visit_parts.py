"""Which memory and drive is worth bringing."""

from dataclasses import replace
from typing import Any

import pytest

from fadewatch_collector.rules.visit_parts import drive_advice, memory_advice
from fadewatch_common.policy import DEFAULT_POLICY

POLICY = replace(DEFAULT_POLICY, least_memory_mib=8192, least_storage_gb=240)
DDR4 = {"locator": "DIMM A", "size_mib": 4096, "kind": "DDR4", "speed_mts": 2666}
EMPTY = {"locator": "DIMM B", "size_mib": 0}


def memory(*slots: dict[str, Any], total: int = 1) -> dict[str, Any]:
    return {"total_mib": total, "slots": list(slots)}


def test_the_smallest_module_that_is_enough_is_brought_like_the_one_fitted() -> None:
    advice = memory_advice(memory(DDR4, EMPTY), POLICY)

    assert advice.bring == ("one 4 GiB DDR4 2666 MT/s module for the empty slot DIMM B")
    assert advice.remark == "Below the policy's 8 GiB; slot DIMM B is empty."


def test_enough_memory_needs_nothing() -> None:
    advice = memory_advice(memory({**DDR4, "size_mib": 8192}, EMPTY), POLICY)

    assert (advice.bring, advice.step, advice.remark) == (None, None, None)


@pytest.mark.parametrize(
    "slots",
    [
        (DDR4,),
        ({**DDR4, "soldered": True}, {**EMPTY, "soldered": True}),
    ],
)
def test_nothing_is_brought_when_no_slot_takes_a_module(
    slots: tuple[dict[str, Any], ...],
) -> None:
    advice = memory_advice(memory(*slots), POLICY)

    assert advice.bring is None
    assert advice.remark == "Below the policy's 8 GiB; no slot is empty."


def test_what_the_system_keeps_for_itself_is_not_missing_memory() -> None:
    assert memory_advice({"total_mib": 7_700}, POLICY).remark is None
    assert memory_advice({"total_mib": 5_900}, POLICY).remark == (
        "Below the policy's 8 GiB; slots are not reported."
    )


def test_unknown_memory_and_drives_are_said_to_be_unknown() -> None:
    assert memory_advice(None, POLICY).fitted == ("Not reported.",)
    assert drive_advice(None, POLICY).fitted == ("Not reported.",)
    assert drive_advice([], POLICY).bring is None


def drive(kind: str, gigabytes: int, name: str = "sda") -> dict[str, Any]:
    return {"name": name, "kind": kind, "size_bytes": gigabytes * 10**9}


def test_a_drive_below_the_policy_is_changed_for_one_of_its_size_or_the_policys() -> (
    None
):
    small = drive_advice([drive("nvme", 128, "nvme0n1")], POLICY)
    hard_disk = drive_advice([drive("hdd", 500)], POLICY)

    assert small.bring is not None
    assert small.bring.startswith("an NVMe drive of 240 GB or more")
    assert hard_disk.bring is not None
    assert hard_disk.bring.startswith("an SSD of 500 GB or more")
    assert hard_disk.step is not None
    assert "data are kept" in hard_disk.step


def test_the_largest_drive_counts_and_a_second_hard_disk_does_not_matter() -> None:
    advice = drive_advice([drive("ssd", 512), drive("hdd", 1000, "sdb")], POLICY)

    assert advice.bring is None


def test_what_is_soldered_is_no_matter_for_a_visit() -> None:
    advice = drive_advice([drive("emmc", 64, "mmcblk0")], POLICY)

    assert advice.bring is None
    assert advice.remark is not None
    assert "soldered" in advice.remark
