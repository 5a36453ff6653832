"""Filing reports on a desk: which pack, where, and what changed."""

from dataclasses import replace
from datetime import timedelta

from fadewatch_collector.rules.desk import Desk, LaptopRecord
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
