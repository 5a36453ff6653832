"""Filing reports on a desk: which pack, where, and what changed."""

from dataclasses import replace
from datetime import timedelta
from itertools import permutations

import pytest

from fadewatch_collector.rules.desk import Desk
from fadewatch_collector.rules.records import LaptopRecord
from fadewatch_common.report import Drive, Memory, MemorySlot, Pack, Report
from tests.reports import PACK, START, make_report

DAY = timedelta(days=1)
WEAK = replace(PACK, serial="0000", full_charge_capacity=40000, cycle_count=400)


def desk(*laptops: int) -> Desk:
    return Desk({i: LaptopRecord(id=i) for i in laptops or (1,)}, {}, {})


def file(on: Desk, day: int, *packs: Pack, laptop: int = 1, **more: object) -> None:
    report: Report = make_report(START + day * DAY, packs, **more)
    on.file(laptop, report, report.measured_at)


def packs_in(on: Desk, laptop: int = 1, slot: str = "BAT0") -> list[int]:
    return [stay.pack_id for stay in on.stays.get((laptop, slot), [])]


def test_a_new_serial_in_the_slot_is_another_pack() -> None:
    on = desk()
    file(on, 0, PACK)
    file(on, 1, replace(PACK, serial="00031"))

    assert len(on.packs) == 2
    assert len(packs_in(on)) == 2


def test_a_pack_is_followed_to_another_laptop() -> None:
    on = desk(1, 2)
    file(on, 0, PACK)
    file(on, 20, PACK, laptop=2)

    assert len(on.packs) == 1
    assert on.stays[1, "BAT0"][-1].until_at == START + 20 * DAY
    assert on.stays[2, "BAT0"][-1].until_at is None
    assert on.clashes == []


@pytest.mark.parametrize("order", list(permutations((0, 1, 2))))
def test_a_pack_that_moved_on_is_where_it_was_last_in_whatever_order_reports_come(
    order: tuple[int, ...],
) -> None:
    on = desk(1, 2, 3)
    for laptop in order:
        file(on, 20 * laptop, PACK, laptop=laptop + 1)

    ends = [on.stays[laptop, "BAT0"][-1].until_at for laptop in (1, 2, 3)]
    assert ends == [START + 20 * DAY, START + 40 * DAY, None]
    assert len(on.packs) == 1
    assert on.clashes == []


def test_two_laptops_that_show_one_identity_in_turn_clash() -> None:
    on = desk(1, 2)
    file(on, 0, PACK)
    file(on, 1, PACK, laptop=2)
    file(on, 2, PACK)
    file(on, 3, PACK, laptop=2)
    file(on, 4, PACK)

    assert len(on.packs) == 2
    assert len(on.clashes) == 1
    assert on.clashes[0].place == (1, "BAT0")
    assert on.clashes[0].other == (2, "BAT0")


def test_two_slots_of_one_laptop_with_one_identity_are_two_packs() -> None:
    on = desk()
    file(on, 0, PACK, replace(PACK, slot="BAT1"))

    assert len(on.packs) == 2


def test_a_weak_pack_goes_on_while_its_figures_move_on() -> None:
    on = desk()
    file(on, 0, WEAK)
    file(on, 30, replace(WEAK, full_charge_capacity=39600, cycle_count=420))

    assert len(on.packs) == 1


def test_a_weak_pack_with_fewer_cycles_is_another() -> None:
    on = desk()
    file(on, 0, WEAK)
    file(on, 1, replace(WEAK, full_charge_capacity=57000, cycle_count=2))

    assert len(on.packs) == 2


def test_a_late_report_of_a_weak_pack_is_no_swap() -> None:
    on = desk()
    file(on, 10, WEAK)
    file(on, 2, replace(WEAK, full_charge_capacity=40100, cycle_count=396))

    assert len(on.packs) == 1
    assert next(iter(on.packs.values())).cycle_count == 400


def test_a_pack_whose_serial_becomes_readable_keeps_its_history() -> None:
    on = desk()
    file(on, 0, replace(PACK, serial=None))
    file(on, 1, PACK)

    assert len(on.packs) == 1
    assert next(iter(on.packs.values())).identity == "Callow Cells|CC-57|00417|"


def test_a_pack_whose_serial_cannot_be_read_for_a_while_is_no_swap() -> None:
    on = desk()
    file(on, 0, PACK)
    file(on, 1, replace(PACK, serial=None))
    file(on, 2, PACK)

    assert len(on.packs) == 1


def test_a_pack_taken_out_leaves_its_slot() -> None:
    on = desk()
    file(on, 0, PACK, replace(PACK, slot="BAT1", serial="9"))
    file(on, 1, PACK)

    assert on.stays[1, "BAT1"][-1].until_at == START + DAY
    assert on.stays[1, "BAT0"][-1].until_at is None


def test_a_slot_that_could_not_be_read_is_not_empty() -> None:
    on = desk()
    file(on, 0, PACK)
    file(on, 1, remarks=("BAT0: the kernel gave no data (EIO)",))

    assert on.stays[1, "BAT0"][-1].until_at is None


def test_changed_memory_is_noted_once() -> None:
    on = desk()
    small = Memory(total_mib=8192, slots=(MemorySlot(locator="A", size_mib=8192),))
    large = Memory(total_mib=16384, slots=(MemorySlot(locator="A", size_mib=16384),))
    for day, memory in enumerate((small, large, large)):
        file(on, day, memory=memory)

    assert [(laptop, at, change.item) for laptop, at, change in on.changes] == [
        (1, START + DAY, "memory")
    ]


def test_a_late_inventory_overwrites_nothing() -> None:
    on = desk()
    old, new = (Drive(name="sda", size_bytes=n, serial=str(n)) for n in (10, 20))
    file(on, 5, drives=(new,))
    file(on, 1, drives=(old,))

    assert on.changes == []
    assert on.laptops[1].drives == [
        {"name": "sda", "size_bytes": 20, "kind": "unknown", "serial": "20"}
    ]


def test_what_is_unknown_does_not_erase_what_was_known() -> None:
    on = desk()
    file(on, 0, PACK)
    nameless = replace(make_report().laptop, serial=None)
    on.file(1, make_report(START + DAY, laptop=nameless), START + DAY)

    assert on.laptops[1].facts["serial"] == "BM-00314"


def levels(on: Desk, first: int, *capacities: int, **more: object) -> None:
    """File one reading a day of a weak pack that counts no cycles."""
    for day, capacity in enumerate(capacities, first):
        told = {"cycle_count": None, "full_charge_capacity": capacity} | more
        file(on, day, replace(WEAK, **told))  # type: ignore[arg-type]  # by name


def swaps(on: Desk) -> list[tuple[int, int]]:
    """Return the day of each swap, and how many readings its new pack has."""
    return [
        (
            (swap.at - START) // DAY,
            sum(reading.pack_id == swap.new_pack_id for reading in on.readings),
        )
        for swap in on.swaps
    ]


def test_a_weak_pack_that_jumps_to_new_and_stays_is_another() -> None:
    on = desk()
    levels(on, 0, *[40000] * 6, 57000, 56900, 57100)

    assert swaps(on) == [(6, 3)]
    first, second = on.stays[1, "BAT0"]
    assert (first.last_seen_at, first.until_at) == (START + 5 * DAY, START + 6 * DAY)
    assert (second.from_at, second.until_at) == (START + 6 * DAY, None)
    assert on.packs[first.pack_id].full_charge_capacity == 40000


def test_a_senseless_reading_of_a_weak_pack_is_no_swap() -> None:
    on = desk()
    levels(on, 0, *[56000] * 6, 5600, 56000, 56000, 56000)
    levels(on, 20, *[40000] * 6, 65535, 40000, 57000, 40000)

    assert on.swaps == []


def test_a_dip_that_comes_back_is_no_swap() -> None:
    on = desk()
    levels(on, 0, *[56500] * 12, *[48500] * 5, *[56500] * 5)

    assert on.swaps == []


def test_a_count_that_is_told_no_more_with_a_rise_to_new_is_a_swap() -> None:
    on = desk()
    levels(on, 0, *[51000] * 5, cycle_count=380)
    levels(on, 5, 56500, 56500, 56500)

    assert swaps(on) == [(5, 3)]


def test_more_cycles_than_a_pack_can_do_are_another_packs() -> None:
    on = desk()
    levels(on, 0, *[40000] * 5, cycle_count=64)
    levels(on, 6, 41000, cycle_count=183)

    assert swaps(on) == [(6, 1)]


def test_a_count_that_was_cut_to_8_bits_may_be_told_whole() -> None:
    on = desk()
    levels(on, 0, 40000, cycle_count=65)
    levels(on, 1, 40000, cycle_count=322)

    assert on.swaps == []


def test_a_new_count_after_days_without_one_is_a_swap() -> None:
    on = desk()
    levels(on, 0, 54000, cycle_count=390)
    levels(on, 1, 55000, 55000)
    levels(on, 3, 55000, cycle_count=2)

    assert swaps(on) == [(3, 1)]


def test_a_driver_that_changes_the_unit_is_no_swap() -> None:
    on = desk()
    in_mah = replace(WEAK, unit="mAh", design_capacity=5000, full_charge_capacity=3509)
    percent = replace(
        WEAK, unit="relative", design_capacity=None, full_charge_capacity=100
    )
    for day, pack in enumerate((WEAK, in_mah, percent, WEAK, percent, in_mah)):
        file(on, day, pack)

    assert len(on.packs) == 1
    assert on.swaps == []


def test_percent_only_keeps_no_capacity_of_another_unit() -> None:
    on = desk()
    file(on, 0, WEAK)
    file(on, 1, replace(WEAK, unit="relative", design_capacity=None))

    assert next(iter(on.packs.values())).design_capacity is None


def test_a_late_reading_of_the_pack_that_came_next_is_its_own() -> None:
    on = desk()
    file(on, 0, WEAK)
    file(on, 9, replace(WEAK, full_charge_capacity=57000, cycle_count=4))
    file(on, 5, replace(WEAK, full_charge_capacity=57000, cycle_count=2))

    assert len(on.packs) == 2
    assert [stay.from_at for stay in on.stays[1, "BAT0"]] == [START, START + 5 * DAY]


def test_a_clock_that_is_days_slow_makes_no_other_pack() -> None:
    on = desk()
    file(on, 30, WEAK)
    file(on, 10, replace(WEAK, cycle_count=403))
    file(on, 31, replace(WEAK, cycle_count=404))

    assert len(on.packs) == 1


def test_telling_two_packs_of_one_identity_apart_is_no_swap() -> None:
    on = desk(1, 2)
    for day in range(6):
        file(on, day, PACK, laptop=1 + day % 2)

    assert len(on.clashes) == 1
    assert on.swaps == []


def test_a_reading_whose_clock_is_not_believed_may_count_a_little_less() -> None:
    on = desk()
    file(on, 10, WEAK)
    unset = make_report(START - 4000 * DAY, (replace(WEAK, cycle_count=398),))
    on.file(1, unset, START + 10 * DAY)
    swapped = make_report(START - 4000 * DAY, (replace(WEAK, cycle_count=2),))
    on.file(1, swapped, START + 12 * DAY)

    assert [(swap.at - START) // DAY for swap in on.swaps] == [12]
