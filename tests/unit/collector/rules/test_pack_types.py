"""Which packs are of one type, and what speaks against ordering it unseen."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.pack_types import (
    Described,
    PackType,
    pool_name,
    same_type,
    type_of_key,
)
from fadewatch_collector.rules.type_groups import group_types

BROOK = Described("Tarnvale", "TV-B57", "mWh", 57_000, 11_400, "Li-ion")


def test_one_description_is_one_certain_type_in_its_own_unit() -> None:
    (found,) = group_types([(BROOK, 3)]).types
    assert found.packs == 3
    assert found.type.is_certain
    assert found.type.label == "Tarnvale TV-B57, 57.0 Wh, 11.4 V, Li-ion"
    charge = replace(BROOK, unit="mAh", design_capacity=5000)
    assert "5000 mAh" in group_types([(charge, 1)]).types[0].type.label


def test_gauges_that_differ_by_two_percent_are_of_the_commonest_figures_type() -> None:
    rows = [
        (replace(BROOK, design_capacity=56_100), 1),
        (BROOK, 5),
        (replace(BROOK, design_voltage_mv=11_550, maker="TARNVALE "), 2),
    ]
    grouping = group_types(rows)
    (found,) = grouping.types
    assert (found.packs, found.type.design_capacity) == (8, 57_000)
    assert set(grouping.place.values()) == {0}
    assert found.type.is_certain


def test_two_capacities_of_one_model_are_two_types_in_doubt() -> None:
    rows = [(BROOK, 5), (replace(BROOK, design_capacity=42_000), 4)]
    found = group_types(rows).types
    assert [one.packs for one in found] == [4, 5]
    for one in found:
        assert not one.type.is_certain
        assert "42.0 Wh, 11.4 V; 57.0 Wh, 11.4 V" in one.type.doubts[0]


@pytest.mark.parametrize(
    "other",
    [
        pytest.param(replace(BROOK, design_voltage_mv=15_200), id="a cell more"),
        pytest.param(replace(BROOK, unit="mAh", design_capacity=5000), id="unit"),
    ],
)
def test_another_voltage_or_unit_is_another_type_in_doubt(other: Described) -> None:
    found = group_types([(BROOK, 5), (other, 2)]).types
    assert len(found) == 2
    assert not any(one.type.is_certain for one in found)


def test_a_field_left_out_does_not_make_a_type() -> None:
    rows = [
        (BROOK, 5),
        (replace(BROOK, design_capacity=None, design_voltage_mv=None), 2),
        (replace(BROOK, unit="relative", design_capacity=100, chemistry=None), 1),
    ]
    (found,) = group_types(rows).types
    assert found.packs == 8
    assert found.type.is_certain


def test_without_a_capacity_and_two_types_to_choose_from_it_is_a_third() -> None:
    blank = replace(BROOK, design_capacity=None)
    grouping = group_types(
        [(BROOK, 5), (replace(BROOK, design_capacity=42_000), 4), (blank, 1)]
    )
    assert len(grouping.types) == 3
    alone = grouping.types[grouping.place[blank]].type
    assert "The design capacity is not known." in alone.doubts


@pytest.mark.parametrize(
    ("change", "doubt"),
    [
        ({"maker": None}, "maker"),
        ({"model": "To be filled by O.E.M."}, "model"),
        ({"unit": "relative", "design_capacity": 100}, "capacity"),
        ({"design_capacity": None}, "capacity"),
    ],
)
def test_what_is_not_known_is_a_doubt(change: dict[str, object], doubt: str) -> None:
    (found,) = group_types([(replace(BROOK, **change), 1)]).types  # type: ignore[arg-type]  # by field
    assert any(doubt in said for said in found.type.doubts)


def test_two_spellings_of_a_chemistry_are_none_but_two_chemistries_are_a_doubt() -> (
    None
):
    spelt = [(BROOK, 2), (replace(BROOK, chemistry="LI-ION"), 1)]
    assert group_types(spelt).types[0].type.is_certain
    other = [(BROOK, 2), (replace(BROOK, chemistry="LiFePO4"), 1)]
    assert "Li-ion, LiFePO4" in group_types(other).types[0].type.doubts[0]


def test_a_key_finds_its_type_after_the_commonest_figure_has_moved() -> None:
    old = group_types([(BROOK, 1)]).types[0].type.key
    moved = [(BROOK, 1), (replace(BROOK, design_capacity=56_500), 9)]
    far = (replace(BROOK, design_capacity=42_000), 3)
    types = [one.type for one in group_types([*moved, far]).types]
    assert types[same_type(old, types) or 0].design_capacity == 56_500
    assert same_type("Tarnvale|TV-Z|mWh|57000|11400", types) is None


@pytest.mark.parametrize(
    "key",
    [
        "",
        "a|b",
        "a|b|Wh|1|2",
        "a|b|mWh|x|2",
        "a|b|mWh|-1|2",
        "a|b|mWh|\N{ARABIC-INDIC DIGIT ONE}|2",
        f"a|b|mWh|{'9' * 400}|2",
        f"a|b|mWh|1|{'9' * 5_000}",
    ],
)
def test_a_text_that_is_no_key_is_refused(key: str) -> None:
    with pytest.raises(InvalidRequest, match="key"):
        type_of_key(key)


_NAMES = st.none() | st.sampled_from(["Tarnvale", "tarnvale", "A|B%7C", "n/a", "Ω=1"])
_DESCRIBED = st.builds(
    Described,
    maker=_NAMES,
    model=_NAMES,
    unit=st.sampled_from(["mWh", "mAh", "relative"]),
    design_capacity=st.none() | st.integers(1, 200_000),
    design_voltage_mv=st.none() | st.integers(3_000, 20_000),
    chemistry=st.none() | st.sampled_from(["Li-ion", "LiP"]),
)


@given(st.dictionaries(_DESCRIBED, st.integers(1, 9), max_size=12), st.randoms())
def test_every_pack_has_one_type_whatever_the_order(
    counted: dict[Described, int], chance: object
) -> None:
    grouping = group_types(counted.items())
    assert sum(one.packs for one in grouping.types) == sum(counted.values())
    assert set(grouping.place) == set(counted)
    turned = group_types(list(counted.items())[::-1])
    assert turned.types == grouping.types


@given(_DESCRIBED)
def test_a_key_gives_back_what_it_was_made_of(said: Described) -> None:
    kind = group_types([(said, 1)]).types[0].type
    back = type_of_key(kind.key)
    assert back == replace(kind, chemistry=None, doubts=())
    assert same_type(kind.key, [kind]) == 0
    assert isinstance(back, PackType)


def test_packs_pool_their_fade_by_maker_and_model() -> None:
    assert pool_name("Tarnvale", "TV-B57") == "Tarnvale|TV-B57"
    assert pool_name("Tarnvale", None) == ""
