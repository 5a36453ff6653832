"""Memory from the tables and from the kernel."""

from pathlib import Path

import pytest

from fadewatch_agent.readers.memory import memory_slots, read_memory, size_mib
from fadewatch_agent.readers.smbios import Structure, decode
from fadewatch_common.report import MAX_MEMORY_SLOTS, Memory, MemorySlot
from tests.unit.agent.laptops import files_of
from tests.unit.agent.structures import END, array, memory_device


def device(raw: bytes) -> Structure:
    return decode(raw).structures[0]


def slot(raw: bytes) -> MemorySlot:
    slots, _ = memory_slots(decode(raw))
    return slots[0]


def meminfo(root: Path, text: str) -> None:
    (root / "proc").mkdir(exist_ok=True)
    (root / "proc/meminfo").write_text(text)


# DSP0134 7.18, offset 0Ch: 0 empty, FFFFh unknown, 7FFFh see the extended size,
# bit 15 set: KiB. 8100h is 256 KiB, 0100h is 256 MiB.
@pytest.mark.parametrize(
    ("size", "mib"),
    [
        (0, 0),
        (0x0100, 256),
        (0x4000, 16_384),
        (0x7FFE, 32_766),
        (0xFFFF, None),
        (0x8100, None),
        (0xFC00, 31),
    ],
)
def test_sizes(size: int, mib: int | None) -> None:
    assert size_mib(device(memory_device(size))) == mib


@pytest.mark.parametrize(
    ("extended", "mib"), [(65_536, 65_536), (0x8000_8000, 32_768), (0, None)]
)
def test_the_extended_size_has_31_bits(extended: int, mib: int | None) -> None:
    raw = memory_device(0x7FFF, extra={0x1C: (4, extended)})

    assert size_mib(device(raw)) == mib


@pytest.mark.parametrize("length", [0x1C, 0x1F])
def test_an_extended_size_past_the_structure_is_unknown(length: int) -> None:
    assert size_mib(device(memory_device(0x7FFF, length=length))) is None


def test_a_structure_that_ends_before_the_size_has_none() -> None:
    assert size_mib(device(memory_device(8192, length=0x0C))) is None


def test_a_module_is_read_whole() -> None:
    assert slot(memory_device(8192)) == MemorySlot(
        locator="DIMM A",
        size_mib=8192,
        kind="DDR4",
        speed_mts=2933,
        maker="Orrin Memory",
        part="OM8-3200",
        soldered=False,
    )


def test_an_empty_slot_has_a_locator_and_nothing_else() -> None:
    raw = memory_device(0, strings=(b"DIMM B", b"NO DIMM", b"NO DIMM"))

    assert slot(raw) == MemorySlot(locator="DIMM B", size_mib=0)


def test_a_slot_without_a_name_goes_by_its_handle() -> None:
    assert slot(memory_device(8192, strings=())).locator == "memory 0x1100"


@pytest.mark.parametrize("text", [b"Not Specified", b"Unknown", b"0000", b" "])
def test_placeholders_of_modules_are_absent(text: bytes) -> None:
    module = slot(memory_device(8192, strings=(b"DIMM A", text, text)))

    assert (module.maker, module.part) == (None, None)


# DSP0134 7.18.2 for the kind, 7.18.1 for the form factor.
@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (0x18, "DDR3"),
        (0x22, "DDR5"),
        (0x23, "LPDDR5"),
        (0x01, None),
        (0x02, None),
        (0x26, "type 0x26"),
    ],
)
def test_kinds(code: int, kind: str | None) -> None:
    assert slot(memory_device(8192, extra={0x12: (1, code)})).kind == kind


@pytest.mark.parametrize(
    ("form", "kind", "soldered"),
    [
        (0x09, 0x1A, False),
        (0x0D, 0x22, False),
        (0x0B, 0x1E, True),
        (0x0A, 0x23, True),
        (0x05, 0x1A, True),
        (0x11, 0x23, False),
        (0x0D, 0x23, None),
        (0x02, 0x1A, None),
    ],
)
def test_soldered_memory_is_known_by_its_form(
    form: int,
    kind: int,
    soldered: bool | None,
) -> None:
    raw = memory_device(8192, extra={0x0E: (1, form), 0x12: (1, kind)})

    assert slot(raw).soldered is soldered


@pytest.mark.parametrize(
    ("fields", "speed"),
    [
        ({0x20: (2, 2933), 0x15: (2, 3200)}, 2933),
        ({0x20: (2, 0), 0x15: (2, 3200)}, 3200),
        ({0x20: (2, 0), 0x15: (2, 0)}, None),
        ({0x20: (2, 0xFFFF), 0x58: (4, 70_000)}, 70_000),
        ({0x20: (2, 0), 0x15: (2, 0xFFFF), 0x54: (4, 0x8001_1170)}, 70_000),
    ],
)
def test_the_speed_it_runs_at_comes_first(
    fields: dict[int, tuple[int, int]], speed: int | None
) -> None:
    assert slot(memory_device(8192, extra=fields)).speed_mts == speed


def test_an_extended_speed_past_the_structure_is_unknown() -> None:
    raw = memory_device(8192, extra={0x20: (2, 0xFFFF), 0x15: (2, 0)}, length=0x28)

    assert slot(raw).speed_mts is None


def test_memory_of_other_arrays_does_not_count(tmp_path: Path) -> None:
    # 7.17.2: use 3 is system memory, 4 video memory, 5 flash.
    raw = (
        memory_device(16, array_handle=0x2000, handle=0x2100)
        + array(0x2000, use=5)
        + array()
        + memory_device(8192)
        + END
    )

    reading = read_memory(files_of(tmp_path), decode(raw))

    assert reading.memory is not None
    assert reading.memory.total_mib == 8192
    assert len(reading.memory.slots) == 1


def test_the_total_is_what_is_fitted(tmp_path: Path) -> None:
    meminfo(tmp_path, "MemTotal:       16000000 kB\n")
    raw = memory_device(8192) + memory_device(8192, handle=0x1101) + END

    reading = read_memory(files_of(tmp_path), decode(raw))

    assert reading.memory is not None
    assert reading.memory.total_mib == 16_384
    assert reading.remarks == ()


def test_without_tables_the_kernel_tells_the_total_in_kib(tmp_path: Path) -> None:
    meminfo(tmp_path, "MemTotal:       16310236 kB\nMemFree: 1 kB\n")

    reading = read_memory(files_of(tmp_path), None)

    assert reading.memory == Memory(total_mib=15_927)
    assert reading.remarks == (
        "memory: the total is what the kernel may use, a little below what is fitted",
    )


def test_a_slot_of_unknown_size_is_remarked_and_the_kernel_tells_the_total(
    tmp_path: Path,
) -> None:
    meminfo(tmp_path, "MemTotal:       16310236 kB\n")
    raw = memory_device(8192) + memory_device(0xFFFF, handle=0x1101) + END

    reading = read_memory(files_of(tmp_path), decode(raw))

    assert reading.memory is not None
    assert reading.memory.total_mib == 15_927
    assert len(reading.memory.slots) == 1
    assert reading.remarks[0] == "memory: size of DIMM A unknown"


def test_fitted_memory_counts_when_the_kernel_shows_less(tmp_path: Path) -> None:
    meminfo(tmp_path, "MemTotal:       1024 kB\n")
    raw = memory_device(8192) + memory_device(0xFFFF, handle=0x1101) + END

    reading = read_memory(files_of(tmp_path), decode(raw))

    assert reading.memory is not None
    assert reading.memory.total_mib == 8192


@pytest.mark.parametrize(
    "text", ["", "MemTotal:\n", "MemTotal: many kB\n", "MemTotal: 0 kB\n"]
)
def test_a_total_that_cannot_be_understood_is_unknown(
    tmp_path: Path, text: str
) -> None:
    meminfo(tmp_path, text)

    assert read_memory(files_of(tmp_path), None).memory is None


def test_a_missing_meminfo_is_remarked(tmp_path: Path) -> None:
    reading = read_memory(files_of(tmp_path), None)

    assert reading.memory is None
    assert reading.remarks == ("memory: /proc/meminfo: it is not offered (ENOENT)",)


def test_more_slots_than_a_report_holds_are_remarked() -> None:
    raw = b"".join(memory_device(1024, handle=0x2000 + i) for i in range(65)) + END

    slots, remarks = memory_slots(decode(raw))

    assert len(slots) == MAX_MEMORY_SLOTS
    assert remarks == ("memory: 65 slots, more than a report holds",)
