"""The drives of a Windows laptop."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.fitting import fitted
from fadewatch_agent.readers.drives import DrivesReading
from fadewatch_agent.readers.windows.drives import read_drives
from fadewatch_common.bounds import problems
from fadewatch_common.report import MAX_DRIVES, Drive
from tests.fakes.windows import (
    DISK_PATH,
    SPINNING,
    Disk,
    FakeWindows,
    Reply,
    descriptor,
)

DISK_GUID = bytes.fromhex("0763f553bfb6d01194f200a0c91efb8b")


def path(number: int) -> str:
    return DISK_PATH.replace("4&1", f"4&{number}")


def read(*disks: Disk | int) -> DrivesReading:
    return read_drives(FakeWindows({path(n): disk for n, disk in enumerate(disks)}))


def number(value: int) -> bytes:
    return struct.pack("<III", 7, value, 0)


def test_a_drive_is_read_without_any_access() -> None:
    windows = FakeWindows({path(0): Disk()})
    reading = read_drives(windows)

    assert reading.drives == (
        Drive(
            name="PhysicalDrive0",
            size_bytes=512_110_190_592,
            kind="nvme",
            model="Larkspur N512",
            serial="LK0042",
        ),
    )
    assert reading.remarks == ()
    assert windows.opened_with == [0]
    assert windows.closed == 1


@pytest.mark.parametrize(
    ("bus", "penalty", "expected"),
    [
        (17, SPINNING, "nvme"),
        (13, SPINNING, "emmc"),
        (11, SPINNING, "hdd"),
        (11, Disk.seek_penalty, "ssd"),
        (8, Disk.seek_penalty, "ssd"),
        (11, 1, "unknown"),
        (11, 50, "unknown"),
        (11, b"\x0c\0\0\0\x0c\0\0\0", "unknown"),
    ],
)
def test_the_kind_comes_from_the_bus_or_the_seek_penalty(
    bus: int, penalty: Reply, expected: str
) -> None:
    disk = Disk(descriptor(bus=bus), seek_penalty=penalty)

    assert read(disk).drives[0].kind == expected


@pytest.mark.parametrize("bus", [4, 6, 7, 9, 12, 14, 15, 16])
def test_what_is_plugged_in_or_made_of_other_drives_is_no_drive(bus: int) -> None:
    assert read(Disk(descriptor(bus=bus))) == DrivesReading(())


def test_a_removable_medium_is_no_drive() -> None:
    assert read(Disk(descriptor(bus=11, removable=1))) == DrivesReading(())


@pytest.mark.parametrize(
    ("vendor", "product", "expected"),
    [
        (b"", b"Larkspur N512", "Larkspur N512"),
        (b"NVMe", b"Larkspur N512", "Larkspur N512"),
        (b"ATA     ", b"Larkspur S256", "Larkspur S256"),
        (b"Larkspur", b"S256  ", "Larkspur S256"),
        (b"Larkspur", b"", "Larkspur"),
        (b"", b"", None),
    ],
)
def test_vendor_and_product_make_the_model(
    vendor: bytes, product: bytes, expected: str | None
) -> None:
    disk = Disk(descriptor(vendor=vendor, product=product))

    assert read(disk).drives[0].model == expected


def test_a_drive_without_texts_has_neither_model_nor_serial() -> None:
    drive = read(Disk(descriptor(product=b"", serial=b""))).drives[0]

    assert (drive.model, drive.serial) == (None, None)


@pytest.mark.parametrize("offset", [0xFFFF_FFFF, 9999])
def test_an_offset_outside_the_descriptor_leads_to_nothing(offset: int) -> None:
    raw = bytearray(descriptor())
    struct.pack_into("<I", raw, 24, offset)

    assert read(Disk(bytes(raw))).drives[0].serial is None


def test_a_descriptor_longer_than_the_first_room_is_asked_for_whole() -> None:
    disk = Disk(descriptor(room=1500))

    assert read(disk).drives[0].serial == "LK0042"


def test_drives_come_in_the_order_of_windows() -> None:
    names = [d.name for d in read(Disk(number=number(1)), Disk()).drives]

    assert names == ["PhysicalDrive0", "PhysicalDrive1"]


@pytest.mark.parametrize("error", [1, 5, 21, 31, 50, 87, 122, 234, 1117, 1167])
@pytest.mark.parametrize("part", ["descriptor", "number", "geometry"])
def test_a_drive_that_does_not_answer_is_told_and_costs_no_other(
    part: str, error: int
) -> None:
    broken = Disk(
        descriptor=error if part == "descriptor" else Disk().descriptor,
        number=error if part == "number" else Disk.number,
        geometry=error if part == "geometry" else Disk.geometry,
    )

    reading = read(broken, Disk())

    assert len(reading.drives) == 1
    assert len(reading.remarks) == 1
    assert f"(error {error})" in reading.remarks[0]


def test_a_drive_that_may_not_be_opened_is_told() -> None:
    assert read(5).remarks == (
        "SCSI\\DISK&VEN_NVME\\4&0: CreateFileW: access is denied (error 5)",
    )


@pytest.mark.parametrize("reply", [b"", bytes(31)])
def test_a_size_that_is_cut_off_is_told(reply: bytes) -> None:
    reading = read(Disk(geometry=reply))

    assert reading.drives == ()
    assert f"{len(reply)} bytes came in place of 32" in reading.remarks[0]


def test_drives_that_cannot_be_listed_are_told() -> None:
    reading = read_drives(FakeWindows(failed={DISK_GUID: 5}))

    assert reading == DrivesReading(
        (), ("drives: SetupDiGetClassDevsW: access is denied (error 5)",)
    )


def test_more_drives_than_a_report_holds_are_named() -> None:
    reading = read(*(Disk(number=number(n)) for n in range(MAX_DRIVES + 1)))

    assert len(reading.drives) == MAX_DRIVES
    assert reading.remarks == (f"PhysicalDrive{MAX_DRIVES}: one drive too many",)


@given(
    told=st.binary(max_size=200),
    told_number=st.binary(max_size=16),
    geometry=st.binary(max_size=64),
    penalty=st.binary(max_size=16),
)
def test_any_replies_give_drives_within_the_bounds(
    told: bytes, told_number: bytes, geometry: bytes, penalty: bytes
) -> None:
    reading = read(Disk(told, told_number, geometry, penalty))

    for drive in reading.drives:
        kept, _ = fitted(drive, drive.name)
        assert kept is None or list(problems(kept)) == []
