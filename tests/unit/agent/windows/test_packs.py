"""How packs are asked for: tags, refusals, and what is said of them."""

import struct
from collections.abc import Callable

import pytest

from fadewatch_agent.readers.supplies import SETTLE_SECONDS, Look, identity
from fadewatch_agent.readers.windows.calls import CallFailed
from fadewatch_agent.readers.windows.packs import TAG_TRIES, read_packs, slot_name
from tests.fakes.windows import (
    BAY_PATH,
    INFORMATION,
    PACK_PATH,
    QUERY_INFORMATION,
    QUERY_STATUS,
    QUERY_TAG,
    SERIAL,
    SHORT_TERM,
    SYSTEM_BATTERY,
    Battery,
    FakeWindows,
    Reply,
    healthy,
    information,
    power,
    status,
    wide,
)
from tests.unit.agent.laptops import Pauses

SLOT = "ACPI\\PNP0C0A\\1"
BATTERY_GUID = bytes.fromhex("541e6372a478d011bcf700aa00b7b32a")
OTHER_TAG = struct.pack("<I", 8)
EVERY_OPTIONAL_LEVEL = ["maker", "name", "serial", "date", "temperature"]
NOT_OFFERED = [1, 50, 87, 1168]
TROUBLE = [5, 21, 31, 122, 234, 1117, 1167, 9999]


def windows(*batteries: Battery | int, line: Reply | None = None) -> FakeWindows:
    ports = dict(zip((PACK_PATH, BAY_PATH), batteries, strict=False))
    return FakeWindows(ports, power=power(0) if line is None else line)


def read(*batteries: Battery | int) -> Look:
    return read_packs(windows(*batteries), None, Pauses())


def swapped_at(count: int, **changed: Reply) -> Callable[[Battery, int], None]:
    """Put another pack in before one of the questions."""

    def swap(battery: Battery, asked: int) -> None:
        if asked == count:
            battery.tag = OTHER_TAG
            battery.answers = healthy(serial=wide("00900"), **changed)

    return swap


def test_a_pack_is_read_with_all_that_its_driver_tells() -> None:
    look = read(Battery())

    (pack,) = look.packs
    assert (pack.slot, pack.maker, pack.model, pack.serial) == (
        SLOT,
        "Quellmar",
        "QM57-3S",
        "00417",
    )
    assert str(pack.made_on) == "2023-03-15"
    assert pack.temperature_c == pytest.approx(30.35)
    assert look.remarks == ()


def test_packs_are_opened_for_reading_alone_and_always_closed() -> None:
    system = windows(Battery(), Battery(status=31))
    read_packs(system, None, Pauses())

    assert system.opened_with == [0x80000000, 0x80000000]
    assert system.closed == 2


def test_every_question_carries_the_tag_and_the_status_comes_last() -> None:
    battery = Battery()
    read(battery)

    codes = [code for code, _ in battery.asked]
    assert codes == [QUERY_TAG, *[QUERY_INFORMATION] * 6, QUERY_STATUS]
    assert {request[:4] for _, request in battery.asked[1:]} == {battery.tag}


@pytest.mark.parametrize("tag", [struct.pack("<I", 0), 2])
def test_an_empty_port_is_no_pack_and_no_trouble(tag: Reply) -> None:
    assert read(Battery(tag=tag)) == Look((), False, ())


@pytest.mark.parametrize("capabilities", [0, SYSTEM_BATTERY | SHORT_TERM])
def test_a_ups_is_left_out_before_anything_else_is_asked(capabilities: int) -> None:
    battery = Battery(healthy(information=information(capabilities=capabilities)))

    assert read(battery).packs == ()
    assert len(battery.asked) == 2


@pytest.mark.parametrize("name", EVERY_OPTIONAL_LEVEL)
@pytest.mark.parametrize("error", NOT_OFFERED)
def test_what_a_driver_does_not_offer_is_left_out_in_silence(
    name: str, error: int
) -> None:
    look = read(Battery(healthy(**{name: error})))

    assert len(look.packs) == 1
    assert look.packs[0].design_capacity == 57_000
    assert look.remarks == ()


@pytest.mark.parametrize("name", EVERY_OPTIONAL_LEVEL)
@pytest.mark.parametrize("error", TROUBLE)
def test_trouble_with_a_detail_costs_the_detail_and_is_told(
    name: str, error: int
) -> None:
    look = read(Battery(healthy(**{name: error})))

    assert len(look.packs) == 1
    assert len(look.remarks) == 1
    assert f"(error {error})" in look.remarks[0]
    assert look.remarks[0].startswith(f"{SLOT}: ")


@pytest.mark.parametrize("error", [*NOT_OFFERED, *TROUBLE])
@pytest.mark.parametrize("where", ["information", "status"])
def test_a_pack_without_figures_is_left_out_and_told(where: str, error: int) -> None:
    broken = (
        Battery(healthy(information=error))
        if where == "information"
        else Battery(status=error)
    )

    look = read(broken, Battery())

    assert [pack.slot for pack in look.packs] == ["ACPI\\PNP0C0A\\2"]
    assert len(look.remarks) == 1
    assert f"(error {error})" in look.remarks[0]


@pytest.mark.parametrize("error", [5, 21, 1117])
def test_a_port_that_gives_no_tag_is_told(error: int) -> None:
    look = read(Battery(tag=error))

    assert look.packs == ()
    assert look.remarks[0].startswith(f"{SLOT}: DeviceIoControl: ")


def test_a_port_that_may_not_be_opened_is_told() -> None:
    look = read(5)

    assert look == Look(
        (), False, (f"{SLOT}: CreateFileW: access is denied (error 5)",)
    )


@pytest.mark.parametrize("reply", [b"", information()[:35]])
def test_a_short_reply_is_told_and_not_read(reply: bytes) -> None:
    look = read(Battery(healthy(information=reply)))

    assert look.packs == ()
    assert look.remarks == (
        f"{SLOT}: BATTERY_INFORMATION: {len(reply)} bytes came in place of 36",
    )


@pytest.mark.parametrize("count", range(2, 9))
def test_a_pack_exchanged_at_any_moment_is_begun_anew(count: int) -> None:
    battery = Battery(meanwhile=swapped_at(count))

    look = read(battery)

    assert [pack.serial for pack in look.packs] == ["00900"]
    assert look.remarks == ()
    old = [request for _, request in battery.asked if request[:4] == b"\x07\0\0\0"]
    assert len(old) == count - 1


def test_a_pack_pulled_in_the_middle_is_gone() -> None:
    def pull(battery: Battery, asked: int) -> None:
        if asked == 4:
            battery.tag = 2

    assert read(Battery(meanwhile=pull)) == Look((), False, ())


def test_a_pack_whose_tag_never_holds_is_told_after_a_few_tries() -> None:
    def flap(battery: Battery, asked: int) -> None:
        battery.tag = struct.pack("<I", 100 + asked)

    battery = Battery(meanwhile=flap)
    look = read(battery)

    assert look.packs == ()
    assert len(battery.asked) == 2 * TAG_TRIES
    assert look.remarks == (
        f"{SLOT}: it was exchanged or refused 3 times while it was read; not taken",
    )


def test_not_found_under_a_tag_that_holds_means_that_the_driver_has_no_such_thing() -> (
    None
):
    battery = Battery(healthy(serial=2))

    look = read(battery)

    assert look.packs[0].serial is None
    assert look.packs[0].model == "QM57-3S"
    assert [code for code, _ in battery.asked].count(QUERY_TAG) == 2
    assert look.remarks == ()


def test_missing_capacities_are_told_as_wear_needs_them() -> None:
    unknown = information(design=0xFFFFFFFF, full=0xFFFFFFFF)
    look = read(Battery(healthy(information=unknown)))

    assert look.remarks == (
        f"{SLOT}: design capacity unknown: the driver has no value",
        f"{SLOT}: full-charge capacity unknown: the driver has no value",
    )


def test_a_pack_in_percent_is_told() -> None:
    battery = Battery(
        healthy(information=information(full=100)), status(2, 84, 11_000, -(2**31))
    )

    assert read(battery).remarks == (
        f"{SLOT}: gives only a percentage, so its wear cannot be told",
    )


@pytest.mark.parametrize("error", [5, 13, 1168])
def test_ports_that_cannot_be_listed_are_told(error: int) -> None:
    system = FakeWindows(failed={BATTERY_GUID: error}, power=power(1))

    look = read_packs(system, None, Pauses())

    assert look.mains_online is True
    assert look.remarks[0].startswith("packs: SetupDiGetClassDevsW: ")


def test_a_port_without_a_path_costs_that_port_alone() -> None:
    system = windows(Battery())
    system.unlisted = (CallFailed("SetupDiGetDeviceInterfaceDetailW", 2),)

    look = read_packs(system, None, Pauses())

    assert len(look.packs) == 1
    assert len(look.remarks) == 1


@pytest.mark.parametrize(
    ("line", "power_state", "expected"),
    [
        (power(1), 0x2, True),
        (power(0), 0x1, False),
        (power(255), 0x1 | 0x4, True),
        (power(255), 0x2, False),
        (5, 0x1, True),
        (b"\x01", 0x2, False),
    ],
)
def test_mains_are_told_by_the_system_or_else_by_the_drivers(
    line: Reply, power_state: int, expected: bool
) -> None:
    system = windows(Battery(status=status(power_state)), line=line)

    assert read_packs(system, None, Pauses()).mains_online is expected


def test_without_packs_and_without_an_answer_mains_are_unknown() -> None:
    assert read_packs(windows(line=power(255)), None, Pauses()).mains_online is None


def test_a_pack_that_is_new_in_its_slot_is_read_until_two_looks_agree() -> None:
    battery = Battery()
    known = {pack.slot: identity(pack) for pack in read(battery).packs}
    battery.answers = healthy(serial=wide("00900"))
    pauses = Pauses()

    look = read_packs(windows(battery), known, pauses)

    assert pauses.seconds == [SETTLE_SECONDS]
    assert look.packs[0].serial == "00900"


def test_a_known_pack_is_read_once() -> None:
    battery = Battery()
    known = {pack.slot: identity(pack) for pack in read(battery).packs}
    pauses = Pauses()

    read_packs(windows(battery), known, pauses)

    assert pauses.seconds == []


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        (PACK_PATH, SLOT),
        ("\\\\?\\" + "a" * 90 + "#7#{x}", ("A" * 90 + "\\7")[-64:]),
        ("odd", "ODD"),
        ("", "unnamed"),
    ],
)
def test_a_slot_has_the_name_of_its_device(path: str, expected: str) -> None:
    assert slot_name(path) == expected


def test_levels_are_those_of_the_header() -> None:
    battery = Battery()
    read(battery)
    levels = [
        struct.unpack_from("<I", request, 4)[0] for _, request in battery.asked[1:7]
    ]

    assert levels[0] == INFORMATION
    assert SERIAL in levels
