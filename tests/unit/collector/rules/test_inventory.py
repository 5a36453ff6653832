"""What changed in a laptop since its last inventory."""

from typing import Any

from fadewatch_collector.rules.inventory import (
    Change,
    drive_changes,
    memory_changes,
    memory_totals,
    storage_total,
)

STICK = {"locator": "DIMM 0", "size_mib": 8192, "maker": "Fen Memory", "part": "F8"}
EMPTY = {"locator": "DIMM 1", "size_mib": 0}
DRIVE = {"name": "nvme0n1", "size_bytes": 512_110_190_592, "serial": "S1"}


def memory(*slots: dict[str, Any], total: int = 8192) -> dict[str, Any]:
    return {"total_mib": total, "slots": list(slots)}


def test_used_and_free_slots_are_counted() -> None:
    assert memory_totals(memory(STICK, EMPTY)) == (8192, 1, 1)


def test_without_slots_only_the_total_is_known() -> None:
    assert memory_totals({"total_mib": 7800}) == (7800, None, None)
    assert memory_totals(None) == (None, None, None)


def test_storage_is_the_sum_of_the_drives() -> None:
    assert storage_total([DRIVE, DRIVE]) == 2 * 512_110_190_592
    assert storage_total([]) is None


def test_a_stick_that_vanished_is_a_change() -> None:
    gone = {"locator": "DIMM 0", "size_mib": 0}

    assert memory_changes(memory(STICK, EMPTY), memory(gone, EMPTY)) == [
        Change("memory", STICK, gone)
    ]


def test_losing_the_right_to_read_slots_is_no_change() -> None:
    assert memory_changes(memory(STICK, EMPTY), {"total_mib": 7800}) == []


def test_the_same_memory_is_no_change() -> None:
    assert memory_changes(memory(STICK, EMPTY), memory(EMPTY, STICK)) == []


def test_another_drive_is_a_change_of_both() -> None:
    other = DRIVE | {"serial": "S2"}

    assert drive_changes([DRIVE], [other]) == [
        Change("drive", DRIVE, None),
        Change("drive", None, other),
    ]


def test_a_drive_that_got_another_name_is_the_same_drive() -> None:
    assert drive_changes([DRIVE], [DRIVE | {"name": "nvme1n1"}]) == []


def test_drives_that_could_not_be_read_are_no_change() -> None:
    assert drive_changes([DRIVE], []) == []
