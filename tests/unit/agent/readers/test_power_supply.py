"""The packs and the mains of a tree."""

import shutil
from pathlib import Path

import pytest

from fadewatch_agent.readers.power_supply import read_supplies
from fadewatch_agent.readers.supplies import SETTLE_SECONDS, Look, identity
from fadewatch_common.report import MAX_PACKS
from tests.unit.agent.laptops import HEALTHY, Pauses, files_of, supply, without

OLD, NEW = HEALTHY, without(serial_number="00900", energy_full="56000000")


def read(root: Path, known: dict[str, str] | None = None) -> Look:
    return read_supplies(files_of(root), known, Pauses())


def identities(root: Path) -> dict[str, str]:
    return {pack.slot: identity(pack) for pack in read(root).packs}


def test_every_pack_is_read(tmp_path: Path) -> None:
    supply(tmp_path, "BAT1", NEW)
    supply(tmp_path, "BAT0", OLD)

    assert [(p.slot, p.serial) for p in read(tmp_path).packs] == [
        ("BAT0", "00417"),
        ("BAT1", "00900"),
    ]


@pytest.mark.parametrize("kind", ["UPS", "Mains", "USB", "Unknown"])
def test_what_is_no_battery_is_no_pack(tmp_path: Path, kind: str) -> None:
    supply(tmp_path, "X0", HEALTHY, kind=kind)

    assert read(tmp_path).packs == ()


@pytest.mark.parametrize("single_files_only", [True, False])
def test_a_mouse_is_no_pack(tmp_path: Path, single_files_only: bool) -> None:
    # drivers/hid/hid-input.c: present, online, capacity, model_name, status, scope.
    supply(
        tmp_path,
        "hid-1-battery",
        {
            "scope": "Device",
            "present": "1",
            "online": "1",
            "capacity": "55",
            "model_name": "Pointer",
            "status": "Discharging",
        },
        single_files_only=single_files_only,
    )

    assert read(tmp_path) == Look((), None, ())


def test_a_mouse_whose_uevent_hides_its_scope_is_no_pack(tmp_path: Path) -> None:
    folder = supply(tmp_path, "hid-1-battery", HEALTHY)
    (folder / "scope").write_text("Device\n")

    assert read(tmp_path).packs == ()


@pytest.mark.parametrize("scope", ["System", "Unknown"])
def test_another_scope_is_a_pack(tmp_path: Path, scope: str) -> None:
    supply(tmp_path, "BAT0", HEALTHY | {"scope": scope})

    assert len(read(tmp_path).packs) == 1


def test_a_pack_that_is_not_present_is_an_empty_slot(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", {"present": "0", "status": "Unknown"})

    assert read(tmp_path) == Look((), None, ())


def test_a_node_that_vanished_after_the_listing_becomes_a_remark(
    tmp_path: Path,
) -> None:
    # A link whose target is gone stands for a node removed after it was listed.
    (tmp_path / "sys/class/power_supply").mkdir(parents=True)
    (tmp_path / "sys/class/power_supply/BAT0").symlink_to("../../gone")

    supplies = read(tmp_path)

    assert supplies.packs == ()
    assert supplies.remarks == ("BAT0: went away, or gave no value, while it was read",)


def test_a_battery_that_gives_no_value_at_all_becomes_a_remark(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", {"present": "1"})

    supplies = read(tmp_path)

    assert supplies.packs == ()
    assert supplies.remarks == ("BAT0: went away, or gave no value, while it was read",)


def test_a_pack_seen_while_it_is_pulled_is_not_taken(tmp_path: Path) -> None:
    # Seen on Linux 6.1: for about a millisecond uevent has these lines and no error.
    supply(tmp_path, "BAT0", {"type": "Battery", "status": "Discharging"})

    supplies = read(tmp_path)

    assert supplies.packs == ()
    assert supplies.remarks == ("BAT0: went away, or gave no value, while it was read",)


def test_a_capacity_that_is_not_offered_is_remarked(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", without("energy_full"))

    assert read(tmp_path).remarks == (
        "BAT0: full-charge capacity unknown: it is not offered",
    )


def test_a_capacity_that_gives_an_error_is_remarked_with_it(tmp_path: Path) -> None:
    folder = supply(tmp_path, "BAT0", without("energy_full_design"))
    (folder / "energy_full_design").mkdir()

    assert read(tmp_path).remarks == (
        "BAT0: design capacity unknown: is a directory (EISDIR)",
    )


@pytest.mark.parametrize(
    ("shown", "words"), [("0", "0"), ("-5", "-5"), ("", "a blank")]
)
def test_a_capacity_of_nothing_is_remarked_as_shown(
    tmp_path: Path, shown: str, words: str
) -> None:
    supply(tmp_path, "BAT0", without(energy_full=shown))

    assert read(tmp_path).remarks == (
        f"BAT0: full-charge capacity unknown: the kernel gives {words}",
    )


def test_a_percentage_is_remarked(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", {"capacity": "64", "status": "Charging"})

    assert read(tmp_path).remarks == (
        "BAT0: gives only a percentage, so its wear cannot be told",
    )


def test_more_packs_than_a_report_holds_are_remarked(tmp_path: Path) -> None:
    for index in range(MAX_PACKS + 1):
        supply(tmp_path, f"BAT{index}", HEALTHY)

    supplies = read(tmp_path)

    assert len(supplies.packs) == MAX_PACKS
    assert supplies.remarks == (f"BAT{MAX_PACKS}: one pack too many",)


def test_a_slot_name_with_odd_bytes_is_readable(tmp_path: Path) -> None:
    supply(tmp_path, "BAT\udcff", HEALTHY)

    assert [p.slot for p in read(tmp_path).packs] == ["BAT"]


@pytest.mark.parametrize(
    ("kind", "online", "expected"),
    [
        ("Mains", "1", True),
        ("Mains", "0", False),
        ("USB", "2", True),
        ("USB_C", "1", True),
        ("Wireless", "1", True),
        ("Mains", "", None),
    ],
)
def test_mains(tmp_path: Path, kind: str, online: str, expected: bool | None) -> None:
    supply(tmp_path, "ADP0", {"online": online}, kind=kind)

    assert read(tmp_path).mains_online is expected


def test_one_live_supply_of_several_is_enough(tmp_path: Path) -> None:
    supply(tmp_path, "ADP0", {"online": "0"}, kind="Mains")
    supply(tmp_path, "ucsi0", {"online": "1"}, kind="USB")

    assert read(tmp_path).mains_online is True


def test_a_pad_that_charges_a_pen_is_not_the_mains(tmp_path: Path) -> None:
    supply(tmp_path, "pad", {"online": "1", "scope": "Device"}, kind="Wireless")

    assert read(tmp_path).mains_online is None


def test_a_known_pack_is_read_once(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", OLD)
    pauses = Pauses()

    read_supplies(files_of(tmp_path), identities(tmp_path), pauses)

    assert pauses.seconds == []


def test_the_first_reading_ever_is_read_once(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", OLD)
    pauses = Pauses()

    read_supplies(files_of(tmp_path), None, pauses)

    assert pauses.seconds == []


@pytest.mark.parametrize(
    "change",
    [
        {"serial_number": "00900"},
        {"model_name": "QM57-4S"},
        {"manufacturer": "Vossel Cells"},
        {"energy_full_design": "50000000"},
    ],
)
def test_a_pack_that_changed_is_read_again_after_a_second(
    tmp_path: Path, change: dict[str, str]
) -> None:
    supply(tmp_path, "BAT0", OLD)
    known = identities(tmp_path)
    supply(tmp_path, "BAT0", without(**change))
    pauses = Pauses()

    supplies = read_supplies(files_of(tmp_path), known, pauses)

    assert pauses.seconds == [SETTLE_SECONDS]
    assert SETTLE_SECONDS >= 1
    assert len(supplies.packs) == 1


def test_a_pack_in_a_slot_that_was_empty_is_read_again(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", OLD)
    pauses = Pauses()

    read_supplies(files_of(tmp_path), {}, pauses)

    assert pauses.seconds == [SETTLE_SECONDS]


def test_after_a_swap_the_old_charge_beside_the_new_serial_is_not_taken(
    tmp_path: Path,
) -> None:
    # For about a second the kernel shows the new serial beside the old energy_now.
    supply(tmp_path, "BAT0", OLD)
    known = identities(tmp_path)
    supply(tmp_path, "BAT0", NEW | {"energy_now": OLD["energy_now"]})

    def refresh(_: int) -> None:
        supply(tmp_path, "BAT0", NEW | {"energy_now": "17000000"})

    supplies = read_supplies(files_of(tmp_path), known, Pauses(refresh))

    assert supplies.packs[0].remaining_capacity == 17_000
    assert supplies.remarks == ()


def test_a_mixture_of_two_packs_is_read_until_it_settles(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", OLD)
    known = identities(tmp_path)
    supply(tmp_path, "BAT0", OLD | {"serial_number": "00900"})

    def settle(pause: int) -> None:
        if pause == 1:
            supply(tmp_path, "BAT0", NEW)

    pauses = Pauses(settle)
    supplies = read_supplies(files_of(tmp_path), known, pauses)

    assert len(pauses.seconds) == 2
    assert supplies.packs[0].full_charge_capacity == 56_000


def test_a_pack_that_never_settles_is_left_out_and_named(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", OLD)
    supply(tmp_path, "BAT1", NEW)

    def unsettle(pause: int) -> None:
        supply(tmp_path, "BAT0", without(serial_number=f"{pause}"))

    supplies = read_supplies(files_of(tmp_path), {}, Pauses(unsettle))

    assert [p.slot for p in supplies.packs] == ["BAT1"]
    assert len(supplies.remarks) == 1
    assert supplies.remarks[0].startswith("BAT0: looks 1.2 s apart disagree")


def test_a_pack_pulled_between_two_looks_is_gone(tmp_path: Path) -> None:
    folder = supply(tmp_path, "BAT0", OLD)

    def pull(pause: int) -> None:
        if pause == 1:
            shutil.rmtree(folder)

    supplies = read_supplies(files_of(tmp_path), {}, Pauses(pull))

    assert supplies == Look((), None, ())
