"""A whole macOS laptop: drives, memory, names, programs, and one report of it all."""

import plistlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.readers.macos.drives import read_drives
from fadewatch_agent.readers.macos.machine import MacMachine, read_laptop, read_memory
from fadewatch_agent.readers.macos.programs import (
    ProgramFailed,
    registry,
    run_program,
)
from fadewatch_agent.reading import take_reading
from fadewatch_common.bounds import problems
from fadewatch_common.report import MAX_DRIVES, Drive, Laptop, Memory, Report
from tests.fakes.macos import PERCENT_GENERATION, FakeMac, device, medium, printed
from tests.unit.agent.laptops import MOMENT, Pauses


def report(mac: FakeMac) -> Report:
    return take_reading(MacMachine(mac, "ridgeway-17"), MOMENT, None, Pauses()).report


def drives(*devices: dict[str, Any]) -> tuple[Drive, ...]:
    return read_drives(FakeMac(drives=list(devices))).drives


def test_everything_ends_up_in_one_report() -> None:
    mac = FakeMac()
    read = report(mac)

    assert read.laptop == Laptop(
        hostname="ridgeway-17",
        maker="Tarnholm",
        model="Ridgeway15,2",
        serial="TH4X9Q7K",
        board_uuid="00112233-4455-6677-8899-aabbccddeeff",
    )
    assert read.memory == Memory(total_mib=16_384)
    assert read.drives == (
        Drive(
            name="disk0",
            size_bytes=500_277_790_720,
            kind="nvme",
            model="Larkspur N512",
            serial="LK0042",
        ),
    )
    assert [pack.serial for pack in read.packs] == ["QM5700417A"]
    assert read.mains_online is False
    assert read.remarks == ()
    assert len(mac.asked) == 4


def test_what_fails_becomes_a_remark_and_the_rest_is_kept() -> None:
    mac = FakeMac(failing=("IOPlatformExpertDevice", "IOBlockStorageDevice", "-n"))
    read = report(mac)

    assert read.laptop == Laptop(hostname="ridgeway-17")
    assert len(read.packs) == 1
    assert [remark.partition(":")[0] for remark in read.remarks] == [
        "laptop",
        "memory",
        "drives",
    ]


@pytest.mark.parametrize("location", ["External", "File", "RAM", ""])
def test_what_is_plugged_in_or_a_disk_image_is_no_drive(location: str) -> None:
    assert drives(device(location)) == ()


@pytest.mark.parametrize(
    ("interconnect", "kind", "expected"),
    [
        ("Apple Fabric", "Solid State", "nvme"),
        ("PCI-Express", "Solid State", "nvme"),
        ("SATA", "Solid State", "ssd"),
        ("SATA", "Rotational", "hdd"),
        ("SATA", "", "unknown"),
    ],
)
def test_the_kind_comes_from_interconnect_or_medium(
    interconnect: str, kind: str, expected: str
) -> None:
    characteristics: dict[str, Any] = {"Medium Type": kind}
    told = drives(device(interconnect=interconnect, **characteristics))

    assert [drive.kind for drive in told] == [expected]


def test_partitions_and_removable_media_are_no_drives() -> None:
    media = [medium(Whole=False), medium(Removable=True), medium()]

    assert len(drives(device(media=media))) == 1


def test_a_device_without_a_medium_is_no_drive() -> None:
    assert drives(device(media=[]), {}, {"Protocol Characteristics": "odd"}) == ()


def test_more_drives_than_a_report_holds_are_named() -> None:
    reading = read_drives(FakeMac(drives=[device()] * (MAX_DRIVES + 1)))

    assert len(reading.drives) == MAX_DRIVES
    assert reading.remarks == ("disk0: one drive too many",)


@pytest.mark.parametrize("told", [b"", b"0", b"many", b"-1", b"9" * 30, b"1024"])
def test_memory_that_is_no_number_is_left_out(told: bytes) -> None:
    reading = read_memory(FakeMac(memory=told))

    assert reading.memory is None
    assert reading.remarks == ("memory: the kernel names no total",)


def test_a_laptop_whose_registry_is_empty_keeps_its_name() -> None:
    assert read_laptop(FakeMac(platform=[]), "x\n") == (Laptop(hostname="x"), ())


@pytest.mark.parametrize(
    "text",
    [
        b"no list at all",
        b"<plist><array><integer>x</integer></array></plist>",
        b"<plist><dict></plist>",
        b"\xff\xfe",
        plistlib.dumps({"one": "entry"}),
        plistlib.dumps(["text"])[:-20],
        b'<!DOCTYPE p [<!ENTITY a "b">]><plist><string>&a;</string></plist>',
    ],
)
def test_what_is_no_list_of_entries_is_a_failure_with_its_reason(text: bytes) -> None:
    with pytest.raises(ProgramFailed, match="what it prints is no"):
        registry(lambda _: text, "AppleSmartBattery")


def test_control_characters_in_names_do_not_break_the_list() -> None:
    text = printed([PERCENT_GENERATION]).replace(b"qm57a", b"qm\x0157\x00a")

    (entry,) = registry(lambda _: text, "AppleSmartBattery")

    assert entry["DeviceName"] == "qm57a"


@given(
    place=st.integers(0, 3000),
    junk=st.binary(max_size=20),
    memory=st.binary(max_size=30),
)
def test_a_list_damaged_anywhere_gives_a_report_within_the_bounds(
    place: int, junk: bytes, memory: bytes
) -> None:
    def damaged(whole: bytes) -> bytes:
        return whole[:place] + junk + whole[place + len(junk) :]

    good = FakeMac()
    mac = FakeMac(
        packs=damaged(printed(good.packs)),
        platform=damaged(printed(good.platform)),
        drives=damaged(printed(good.drives)),
        memory=memory,
    )

    assert list(problems(report(mac))) == []


def test_lists_printed_by_real_processes_end_up_in_one_report(tmp_path: Path) -> None:
    mac = FakeMac()
    for kind in ("AppleSmartBattery", "IOPlatformExpertDevice", "IOBlockStorageDevice"):
        (tmp_path / kind).write_bytes(mac(("/usr/sbin/ioreg", "-a", "-r", "-c", kind)))
    (tmp_path / "hw.memsize").write_bytes(mac.memory)
    stand_ins = {
        "/usr/sbin/ioreg": f'cat "{tmp_path}/$4"',
        "/usr/sbin/sysctl": f'cat "{tmp_path}/$2"',
    }

    def run(words: Sequence[str]) -> bytes:
        return run_program(("/bin/sh", "-c", stand_ins[words[0]], *words))

    read = take_reading(MacMachine(run, "x"), MOMENT, None, Pauses()).report

    assert [pack.serial for pack in read.packs] == ["QM5700417A"]
    assert [drive.name for drive in read.drives] == ["disk0"]
    assert read.memory == Memory(total_mib=16_384)
    assert read.remarks == ()


def test_a_program_is_run_without_a_shell_and_with_the_systems_paths_alone() -> None:
    words = ("/bin/sh", "-c", 'printf "%s|%s" "$PATH" "$1"', "sh", "$(id)")

    assert run_program(words) == b"/usr/bin:/bin:/usr/sbin:/sbin|$(id)"


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("/nowhere/ioreg",), "No such file"),
        (("/bin/sh", "-c", "exit 3"), "it ended with 3"),
        (("/bin/sleep", "5"), "it took more than 0.2 s"),
    ],
)
def test_a_program_that_does_not_do_its_work_is_a_failure(
    words: tuple[str, ...], why: str
) -> None:
    with pytest.raises(ProgramFailed, match=why):
        run_program(words, 0.2 if "sleep" in words[0] else 20)
