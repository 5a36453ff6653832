"""A whole Windows laptop: firmware, memory, names, and one report of it all."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.readers.windows.calls import Device
from fadewatch_agent.readers.windows.machine import (
    WindowsMachine,
    read_firmware,
    total_memory,
)
from fadewatch_agent.reading import take_reading
from fadewatch_common.bounds import problems
from fadewatch_common.report import Laptop, Report
from tests.fakes.windows import (
    DISK_PATH,
    PACK_PATH,
    Battery,
    Disk,
    FakeWindows,
    Reply,
    healthy,
    information,
    power,
    tables,
)
from tests.unit.agent.laptops import MOMENT, Pauses
from tests.unit.agent.structures import SYSTEM_UUID, portable_battery, system


def report(windows: FakeWindows) -> Report:
    return take_reading(WindowsMachine(windows), MOMENT, None, Pauses()).report


def test_everything_ends_up_in_one_report() -> None:
    windows = FakeWindows({PACK_PATH: Battery(), DISK_PATH: Disk()}, power=power(1))

    read = report(windows)

    assert read.laptop == Laptop(
        hostname="RIDGEWAY-17",
        maker="Tarnholm",
        model="Ridgeway 14",
        serial="TH4X9Q7K",
        board_uuid="00112233-4455-6677-8899-aabbccddeeff",
        chassis="notebook",
    )
    assert read.memory is not None
    assert (read.memory.total_mib, len(read.memory.slots)) == (8192, 1)
    assert [drive.name for drive in read.drives] == ["PhysicalDrive0"]
    assert read.mains_online is True
    assert read.remarks == ()
    assert list(problems(read)) == []


def test_the_firmwares_record_fills_what_the_driver_does_not_tell() -> None:
    battery = Battery(healthy(date=1, information=information(design=0)))
    windows = FakeWindows({PACK_PATH: battery}, tables(system(), portable_battery()))

    (pack,) = report(windows).packs

    assert str(pack.made_on) == "2023-03-15"
    assert (pack.design_capacity, pack.design_voltage_mv) == (57_000, 11_400)


def test_a_laptop_without_tables_keeps_its_name_and_says_what_is_missing() -> None:
    read = report(FakeWindows(firmware=5))

    assert read.laptop == Laptop(hostname="RIDGEWAY-17")
    assert read.memory is not None
    assert read.memory.total_mib == 8192
    assert read.remarks == (
        (
            "SMBIOS tables: GetSystemFirmwareTable: access is denied (error 5); "
            "memory slots, serial and board UUID are in them"
        ),
    )


@pytest.mark.parametrize("raw", [b"", bytes(7)])
def test_tables_without_a_header_are_told(raw: bytes) -> None:
    remarks = read_firmware(FakeWindows(firmware=raw)).remarks

    assert f"{len(raw)} bytes came in place of 8" in remarks[0]


def test_the_version_before_the_tables_decides_the_byte_order_of_the_uuid() -> None:
    old = report(FakeWindows(firmware=tables(system(), version=(2, 5))))
    new = report(FakeWindows(firmware=tables(system(), version=(2, 6))))

    assert old.laptop.board_uuid == "33221100-5544-7766-8899-aabbccddeeff"
    assert new.laptop.board_uuid == "00112233-4455-6677-8899-aabbccddeeff"
    assert SYSTEM_UUID[0] == 0x33


def test_bytes_behind_the_tables_are_not_read() -> None:
    whole = tables(system())
    firmware = read_firmware(FakeWindows(firmware=whole + b"\x01\x02\x03"))

    assert firmware.remarks == ()


@pytest.mark.parametrize(
    ("installed", "usable", "mib", "remark"),
    [
        (16 * 1024 * 1024, 16_000_000_000, 16_384, ""),
        (-13, 16_000_000_000, 15_258, "memory: the total is what the kernel may use"),
        (0, 16_000_000_000, 15_258, "memory: the total is what the kernel may use"),
        (-13, -31, 0, "memory: GlobalMemoryStatusEx: the device does not work"),
    ],
)
def test_the_total_is_what_is_fitted_or_else_what_may_be_used(
    installed: int, usable: int, mib: int, remark: str
) -> None:
    total = total_memory(FakeWindows(installed_kib=installed, usable_bytes=usable))

    assert total.mib == mib
    assert total.remark.startswith(remark)
    assert bool(total.remark) == bool(remark)


def test_a_laptop_without_a_name_says_why() -> None:
    read = report(FakeWindows(name=""))

    assert read.laptop.hostname is None
    assert read.remarks == (
        "hostname: GetComputerNameExW: the answer does not end (error 234)",
    )


replies = st.one_of(st.binary(max_size=120), st.integers(1, 2000))


@given(
    levels=st.dictionaries(st.integers(0, 8), replies),
    status=replies,
    tag=st.one_of(st.binary(min_size=4, max_size=4), st.just(2)),
    disk=st.tuples(replies, replies, replies, replies),
    firmware=replies,
    line=replies,
)
def test_whatever_comes_back_gives_a_report_within_the_bounds(
    levels: dict[int, Reply],
    status: Reply,
    tag: Reply,
    disk: tuple[Reply, Reply, Reply, Reply],
    firmware: Reply,
    line: Reply,
) -> None:
    devices: dict[str, Device | int] = {
        PACK_PATH: Battery(levels, status, tag),
        DISK_PATH: Disk(*disk),
    }

    read = report(FakeWindows(devices, firmware, line))

    assert list(problems(read)) == []
