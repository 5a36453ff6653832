"""A whole reading keeps every bound, whatever the system shows."""

import tempfile
from collections.abc import Mapping
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fadewatch_agent.readers.linux import LinuxMachine
from fadewatch_agent.readers.snapshot import SINGLE_FILES
from fadewatch_agent.reading import random_bits, remarks_of, take_reading, this_agent
from fadewatch_common import __version__
from fadewatch_common.bounds import problems
from fadewatch_common.report import MAX_REMARKS, REMARK_LENGTH, Report
from fadewatch_common.report_id import RANDOM_BITS, check_report_id
from tests.unit.agent.laptops import (
    HEALTHY,
    MOMENT,
    Pauses,
    block_device,
    empty_tree,
    files_of,
    supply,
    without,
)
from tests.unit.agent.structures import END, chassis, memory_device, system
from tests.unit.agent.structures import portable_battery as battery_record


def machine(root: Path) -> LinuxMachine:
    return LinuxMachine(files_of(root))


def read(root: Path) -> Report:
    return take_reading(machine(root), MOMENT, None, Pauses()).report


def firmware(root: Path, table: bytes) -> None:
    folder = root / "sys/firmware/dmi/tables"
    folder.mkdir(parents=True)
    (folder / "DMI").write_bytes(table)


def test_everything_ends_up_in_one_report(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", HEALTHY)
    supply(tmp_path, "ADP0", {"online": "1"}, kind="Mains")
    firmware(
        tmp_path,
        battery_record() + memory_device(8192) + system() + chassis(10) + END,
    )
    block_device(tmp_path, "nvme0n1", {"device/model": "Larkspur N512"})

    report = read(tmp_path)

    assert report.measured_at == MOMENT.at
    assert check_report_id(report.report_id) == report.report_id
    assert report.laptop.serial == "TH4X9Q7K"
    assert report.packs[0].made_on is not None
    assert report.mains_online is True
    assert report.memory is not None
    assert report.memory.total_mib == 8192
    assert [drive.name for drive in report.drives] == ["nvme0n1"]
    assert report.remarks == ()


def test_an_empty_system_gives_a_report_of_remarks(tmp_path: Path) -> None:
    report = read(empty_tree(tmp_path))

    assert report.packs == ()
    assert report.memory is None
    assert report.remarks == (
        "SMBIOS tables: this system offers none",
        "memory: /proc/meminfo: it is not offered (ENOENT)",
    )


def test_what_type_22_fills_in_does_not_make_a_pack_another_one(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", without("energy_full_design"))
    firmware(tmp_path, battery_record() + END)
    first = take_reading(machine(tmp_path), MOMENT, None, Pauses())
    pauses = Pauses()

    take_reading(machine(tmp_path), MOMENT, first.identities, pauses)

    assert first.report.packs[0].design_capacity == 57_000
    assert pauses.seconds == []


def test_values_out_of_bounds_become_remarks(tmp_path: Path) -> None:
    supply(
        tmp_path,
        "BAT0",
        without(
            temp="-2731",
            voltage_now="9" * 18,
            capacity_error_margin="101",
            energy_now="9" * 19,
        ),
    )

    report = read(tmp_path)

    assert not list(problems(report))
    assert {remark.split(" left out")[0] for remark in report.remarks[-4:]} == {
        "BAT0: temperature c",
        "BAT0: voltage mv",
        "BAT0: error margin percent",
        "BAT0: remaining capacity",
    }


def test_memory_beyond_all_bounds_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "proc").mkdir()
    (tmp_path / "proc/meminfo").write_text(f"MemTotal: {'9' * 18} kB\n")

    report = read(tmp_path)

    assert report.memory is None
    assert report.remarks[-1] == "memory: left out"


def test_remarks_are_cut_to_what_a_report_holds() -> None:
    remarks = remarks_of(["x" * 400, " ", *(f"remark {i}" for i in range(100))])

    assert len(remarks) == MAX_REMARKS
    assert len(remarks[0]) == REMARK_LENGTH
    assert remarks[-1] == "38 more remarks are left out"


def test_the_agent_names_its_version_and_system() -> None:
    agent = this_agent()

    assert agent.version == __version__
    assert agent.platform.startswith("Linux ")


def test_random_bits_fill_an_id_and_differ() -> None:
    drawn = {random_bits() for _ in range(50)}

    assert len(drawn) == 50
    assert max(bits.bit_length() for bits in drawn) <= RANDOM_BITS


numbers = st.integers(-(10**19), 10**19).map(str)
texts = st.text(st.characters(codec="utf-8", exclude_characters="\n"), max_size=200)
packs = st.dictionaries(
    st.sampled_from((*SINGLE_FILES, "charge_control_end_threshold")),
    st.one_of(numbers, texts, st.sampled_from(["0", "-1", "100000", "57000000"])),
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(
    supplies=st.dictionaries(
        st.sampled_from(["BAT0", "BAT1", "CMB0", "sbs-1-000b"]), packs, max_size=3
    ),
    table=st.one_of(
        st.binary(max_size=120),
        st.binary(max_size=60).map(lambda tail: system() + memory_device(1) + tail),
    ),
    disk=st.dictionaries(
        st.sampled_from(["size", "device/model", "device/serial", "queue/rotational"]),
        st.one_of(numbers, texts),
    ),
    meminfo=st.one_of(texts, numbers.map("MemTotal: {} kB".format)),
)
def test_any_tree_gives_a_report_within_the_bounds(
    supplies: Mapping[str, Mapping[str, str]],
    table: bytes,
    disk: Mapping[str, str],
    meminfo: str,
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for name, attributes in supplies.items():
            supply(root, name, attributes, single_files_only=len(attributes) % 2 == 0)
        firmware(root, table)
        block_device(root, "nvme0n1", disk)
        (root / "proc").mkdir()
        (root / "proc/meminfo").write_text(meminfo, encoding="utf-8")

        report = read(root)

    assert list(problems(report)) == []
