"""What a battery driver's replies mean."""

import struct
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.fitting import fitted
from fadewatch_agent.readers.windows.calls import decoded
from fadewatch_agent.readers.windows.layout import BATTERY_INFORMATION, BATTERY_STATUS
from fadewatch_agent.readers.windows.pack import Texts, is_laptops_pack, pack_from, text
from fadewatch_common.bounds import problems
from fadewatch_common.report import Pack
from tests.fakes.windows import (
    RELATIVE,
    SHORT_TERM,
    SYSTEM_BATTERY,
    UNKNOWN,
    information,
    made_on,
    status,
    wide,
)


def pack(
    told: bytes | None = None, now: bytes | None = None, texts: Texts | None = None
) -> Pack:
    return pack_from(
        "ACPI\\PNP0C0A\\1",
        decoded(BATTERY_INFORMATION, told or information()),
        decoded(BATTERY_STATUS, now or status()),
        texts or Texts(),
    )


def test_capacities_are_in_milliwatt_hours() -> None:
    read = pack()

    assert (read.unit, read.design_capacity) == ("mWh", 57_000)
    assert (read.full_charge_capacity, read.remaining_capacity) == (49_020, 41_200)
    assert (read.cycle_count, read.voltage_mv) == (212, 11_873)


def test_a_relative_pack_keeps_its_ratio_without_a_unit() -> None:
    read = pack(
        information(capabilities=SYSTEM_BATTERY | RELATIVE, design=1000, full=870)
    )

    assert (read.unit, read.design_capacity) == ("relative", 1000)
    assert read.full_charge_capacity == 870


@pytest.mark.parametrize(
    ("capabilities", "expected"),
    [
        (SYSTEM_BATTERY, True),
        (SYSTEM_BATTERY | RELATIVE, True),
        (0, False),
        (SHORT_TERM, False),
        (SYSTEM_BATTERY | SHORT_TERM, False),
    ],
)
def test_a_ups_and_a_short_term_source_are_no_pack(
    capabilities: int, expected: bool
) -> None:
    told = decoded(BATTERY_INFORMATION, information(capabilities=capabilities))

    assert is_laptops_pack(told) is expected


def test_what_is_unknown_is_left_out() -> None:
    read = pack(
        information(
            design=UNKNOWN, full=UNKNOWN, cycles=UNKNOWN, chemistry=b"\0\0\0\0"
        ),
        status(power=1, remaining=UNKNOWN, voltage=UNKNOWN, rate=-(2**31)),
    )

    assert read == Pack(slot="ACPI\\PNP0C0A\\1", unit="mWh")


def test_a_cycle_count_and_capacities_of_zero_are_unknown() -> None:
    read = pack(information(design=0, full=0, cycles=0), status(voltage=0))

    assert read.design_capacity is None
    assert read.full_charge_capacity is None
    assert read.cycle_count is None
    assert read.voltage_mv is None


def test_firmware_that_counts_in_percent_gives_no_wear() -> None:
    # ACPI 6.0, 10.2.2: full charge 100, unknown rate, remaining in percent.
    read = pack(information(full=100), status(remaining=84, rate=-(2**31)))

    assert (read.unit, read.design_capacity) == ("relative", None)
    assert (read.full_charge_capacity, read.remaining_capacity) == (100, 84)


@pytest.mark.parametrize(
    ("power", "remaining", "expected"),
    [
        (0x1 | 0x4, 30_000, "charging"),
        (0x2, 30_000, "discharging"),
        (0x2 | 0x8, 2_000, "discharging"),
        (0x1 | 0x2, 30_000, "discharging"),
        (0x1, 49_020, "full"),
        (0x1, 49_021, "full"),
        (0x1, 39_216, "held"),
        (0x1, UNKNOWN, "unknown"),
        (0x1 | 0x2 | 0x4, 30_000, "unknown"),
        (0x0, 30_000, "unknown"),
    ],
)
def test_the_state_comes_from_the_power_bits(
    power: int, remaining: int, expected: str
) -> None:
    assert pack(now=status(power=power, remaining=remaining)).state == expected


def test_a_new_pack_is_full_at_its_design_capacity() -> None:
    read = pack(information(full=58_000), status(power=1, remaining=57_000))

    assert read.state == "full"


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        (b"LION", "Li-ion"),
        (b"Li-I", "Li-ion"),
        (b"LiP\0", "Li-poly"),
        (b"NiMH", "NiMH"),
        (b"PbAc", "lead acid"),
        (b"RAM\0", "RAM"),
        (b"Zn 2", "Zn 2"),
        (b"\0ION", None),
        (b"    ", None),
        (b"\xff\xfeA\n", "��A"),
    ],
)
def test_the_chemistry_has_four_characters_and_no_end_mark(
    raw: bytes, expected: str | None
) -> None:
    assert pack(information(chemistry=raw)).chemistry == expected


def test_names_are_wide_texts_cut_at_their_end_mark_and_stripped() -> None:
    texts = Texts(
        maker=wide("Quellmär"), model=wide(" QM57\t") + wide("junk"), serial=wide("")
    )

    read = pack(texts=texts)

    assert (read.maker, read.model, read.serial) == ("Quellmär", "QM57", None)


def test_a_text_of_odd_length_or_half_a_character_does_no_harm() -> None:
    assert text(b"Q\0M\0x") == "QM"
    assert text(b"\x00\xd8A\x00") == "�A"


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        (made_on(15, 3, 2023), date(2023, 3, 15)),
        (made_on(0, 0, 0), None),
        (made_on(30, 2, 2023), None),
        (made_on(1, 1, 0), None),
        (made_on(1, 1, 65_535), None),
        (b"", None),
        (b"\x0f\x03\xe7", None),
    ],
)
def test_a_date_that_is_none_is_left_out(raw: bytes, expected: date | None) -> None:
    assert pack(texts=Texts(made_on=raw)).made_on == expected


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        # 3035 tenths of a kelvin are 30.35 degrees; 2732 are 0.05.
        (struct.pack("<I", 3035), 30.35),
        (struct.pack("<I", 2732), 0.05),
        (struct.pack("<I", 2631), -10.05),
        (struct.pack("<I", 0), None),
        (struct.pack("<I", UNKNOWN), None),
        (b"\xdb\x0b", None),
    ],
)
def test_the_temperature_is_in_tenths_of_a_kelvin(
    raw: bytes, expected: float | None
) -> None:
    assert pack(texts=Texts(temperature=raw)).temperature_c == expected


numbers = st.one_of(
    st.integers(0, 2**32 - 1), st.sampled_from([0, 1, 100, 2**31, UNKNOWN])
)


@given(
    told=st.binary(min_size=36, max_size=64),
    now=st.binary(min_size=16, max_size=32),
    texts=st.tuples(*[st.binary(max_size=300)] * 3, *[st.binary(max_size=8)] * 2),
)
def test_any_bytes_give_a_pack_within_the_bounds(
    told: bytes, now: bytes, texts: tuple[bytes, ...]
) -> None:
    read = pack(told, now, Texts(*texts))
    kept, _ = fitted(read, "pack")

    assert kept is not None
    assert list(problems(kept)) == []


@given(design=numbers, full=numbers, remaining=numbers, cycles=numbers)
def test_no_unknown_value_passes_for_a_number(
    design: int, full: int, remaining: int, cycles: int
) -> None:
    told = information(design=design, full=full, cycles=cycles)
    read = pack(told, status(remaining=remaining))

    assert read.design_capacity not in (0, UNKNOWN)
    assert read.full_charge_capacity not in (0, UNKNOWN)
    assert read.remaining_capacity != UNKNOWN
    assert read.cycle_count not in (0, UNKNOWN)
