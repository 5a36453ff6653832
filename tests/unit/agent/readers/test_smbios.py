"""The decoder of SMBIOS structures, against structures laid out by hand."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fadewatch_agent.errors import DamagedTables
from fadewatch_agent.readers.laptop import chassis_name
from fadewatch_agent.readers.memory import memory_slots
from fadewatch_agent.readers.portable_battery import portable_battery
from fadewatch_agent.readers.smbios import Tables, decode, uuid_text, version
from fadewatch_common.bounds import problems
from tests.unit.agent.structures import (
    END,
    SYSTEM_UUID,
    array,
    chassis,
    entry_point_2,
    entry_point_3,
    memory_device,
    structure,
    system,
)
from tests.unit.agent.structures import (
    portable_battery as battery_bytes,
)

WHOLE = system() + chassis(0x0A) + array() + memory_device(8192) + battery_bytes() + END


def test_structures_are_found_with_their_handles() -> None:
    found = [(s.kind, s.handle) for s in decode(WHOLE).structures]

    assert found == [
        (1, 0x0100),
        (3, 0x0300),
        (16, 0x1000),
        (17, 0x1100),
        (22, 0x1600),
    ]


def test_the_order_of_types_does_not_matter() -> None:
    tables = decode(battery_bytes() + memory_device(8192) + chassis(9) + system() + END)

    assert [len(tables.of_kind(kind)) for kind in (1, 3, 17, 22)] == [1, 1, 1, 1]


def test_nothing_is_read_after_the_end_mark() -> None:
    assert decode(system() + END + chassis(9)).of_kind(3) == ()


def test_a_table_may_end_without_an_end_mark() -> None:
    tables = decode(system())

    assert len(tables.structures) == 1
    assert tables.damage is None


def test_a_structure_of_unknown_type_is_stepped_over() -> None:
    assert len(decode(structure(0xDE, 6, [], (b"x",)) + system()).of_kind(1)) == 1


def test_strings_count_from_one_and_zero_is_none() -> None:
    (found,) = decode(structure(1, 8, [(4, 1, 2), (5, 1, 0)], (b"a", b"b"))).structures

    assert (found.text(4), found.text(5)) == ("b", None)


@pytest.mark.parametrize("index", [3, 255])
def test_a_string_that_is_not_there_is_none(index: int) -> None:
    (found,) = decode(structure(1, 8, [(4, 1, index)], (b"a", b"b"))).structures

    assert found.text(4) is None


def test_a_structure_without_strings_has_none() -> None:
    (found,) = decode(structure(1, 8, [(4, 1, 1)])).structures

    assert found.strings == ()
    assert found.text(4) is None


@pytest.mark.parametrize("offset", [7, 8, 100])
def test_a_field_past_the_length_is_none(offset: int) -> None:
    # The string set behind it is full of bytes that must not be taken for a field.
    (found,) = decode(structure(1, 8, [], (b"ABCDEFGH",))).structures

    assert found.number(offset, 2) is None


@pytest.mark.parametrize("length", [0, 1, 2, 3])
def test_a_length_below_the_header_is_damage(length: int) -> None:
    raw = system() + bytes((2, length, 0, 2)) + bytes(8)

    tables = decode(raw)

    assert len(tables.structures) == 1
    assert str(tables.damage) == (
        f"SMBIOS tables: at byte {len(system())}, a structure claims a length of "
        f"{length}"
    )


@pytest.mark.parametrize(
    ("tail", "why"),
    [
        (b"\x11\x04", "a header is cut off"),
        (b"\x11\x54\x00\x11" + bytes(8), "a structure is cut off"),
        (b"\x11\x05\x00\x11\x01abc", "the strings of a structure have no end"),
        (b"\x11\x05\x00\x11\x01\0", "the strings of a structure have no end"),
    ],
)
def test_what_stands_before_the_damage_is_kept(tail: bytes, why: str) -> None:
    tables = decode(system() + tail)

    assert len(tables.of_kind(1)) == 1
    assert why in str(tables.damage)


@pytest.mark.parametrize("raw", [b"", b"\x01", b"\x01\x1b\x00\x01", END])
def test_a_table_without_one_structure_is_an_error(raw: bytes) -> None:
    with pytest.raises(DamagedTables):
        decode(raw)


def test_the_uuid_since_2_6_has_three_little_endian_fields() -> None:
    # The worked value of DSP0134, 7.2.1.
    expected = "00112233-4455-6677-8899-aabbccddeeff"

    assert uuid_text(SYSTEM_UUID, (2, 6)) == expected
    assert uuid_text(SYSTEM_UUID, (3, 8)) == expected
    assert uuid_text(SYSTEM_UUID, None) == expected


def test_the_uuid_before_2_6_is_in_the_order_of_its_bytes() -> None:
    expected = "33221100-5544-7766-8899-aabbccddeeff"

    assert uuid_text(SYSTEM_UUID, (2, 5)) == expected


@pytest.mark.parametrize("raw", [bytes(16), b"\xff" * 16, bytes(15), b""])
def test_an_unset_or_short_uuid_is_none(raw: bytes) -> None:
    assert uuid_text(raw, (3, 0)) is None


def test_a_uuid_of_one_repeated_byte_is_one() -> None:
    assert uuid_text(b"\x11" * 16, (3, 0)) == "11111111-1111-1111-1111-111111111111"


def test_versions_of_both_entry_points() -> None:
    assert version(entry_point_3(3, 8)) == (3, 8)
    assert version(entry_point_2(2, 5)) == (2, 5)
    assert sum(entry_point_3(3, 8)) % 256 == 0


@pytest.mark.parametrize(
    "raw", [b"", b"_SM3_", b"_SM_\0", b"_DMI_" + bytes(30), bytes(31)]
)
def test_other_bytes_are_no_entry_point(raw: bytes) -> None:
    assert version(raw) is None


def test_a_lock_does_not_change_the_chassis() -> None:
    assert chassis_name(0x8A) == chassis_name(0x0A) == "notebook"


@pytest.mark.parametrize("code", [None, 0, 1, 2, 0x80, 0x82])
def test_a_chassis_that_is_not_told_is_none(code: int | None) -> None:
    assert chassis_name(code) is None


def test_a_chassis_of_the_future_keeps_its_number() -> None:
    assert chassis_name(0x50) == "type 80"


def read_everything(tables: Tables) -> None:
    """Decode every structure as every type that the agent knows."""
    slots, _ = memory_slots(tables)
    assert all(not list(problems(slot)) for slot in slots)
    for found in tables.structures:
        portable_battery(found)
        uuid_text(found.formatted[8:24], None)
        for offset in range(0x60):
            text = found.text(offset)
            assert text is None or text


@given(st.binary(max_size=400))
@example(WHOLE)
def test_any_bytes_give_structures_or_one_typed_error(raw: bytes) -> None:
    try:
        tables = decode(raw)
    except DamagedTables:
        return
    read_everything(tables)


@given(
    st.lists(
        st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), max_size=12
    ),
    st.integers(0, len(WHOLE)),
)
def test_any_change_of_a_good_table_gives_structures_or_one_typed_error(
    changes: list[tuple[int, int]], cut: int
) -> None:
    raw = bytearray(WHOLE)
    for offset, value in changes:
        raw[offset] = value
    try:
        tables = decode(bytes(raw[:cut]))
    except DamagedTables:
        return
    read_everything(tables)


@given(
    st.lists(
        st.builds(
            lambda kind, body, strings: structure(
                kind,
                4 + len(body),
                [(4, len(body), int.from_bytes(body, "little"))] if body else [],
                tuple(strings),
            ),
            st.sampled_from([1, 3, 16, 17, 22, 126, 221]),
            st.binary(max_size=100),
            st.lists(
                st.binary(min_size=1, max_size=8).map(lambda b: b.replace(b"\0", b"x")),
                max_size=3,
            ),
        ),
        min_size=1,
        max_size=5,
    )
)
def test_every_well_formed_structure_is_found(parts: list[bytes]) -> None:
    tables = decode(b"".join(parts) + END)

    assert len(tables.structures) == len(parts)
    assert tables.damage is None
    read_everything(tables)
