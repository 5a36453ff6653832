"""Records to plain values and back."""

import json
from typing import Any

import pytest

from fadewatch_common.bench.facts import BenchFigures, Matter, SeenPack
from fadewatch_common.decoding import UnreadableRecord, from_plain
from fadewatch_common.encoding import to_plain
from tests.bench_facts import MEASURED, TODAY, history, slot_of, worn

FIGURES = BenchFigures(
    as_of=TODAY,
    slots=(slot_of(history=history(), before=SeenPack(pack=worn(30), seen_on=TODAY)),),
    fades=MEASURED,
    matters=(Matter(kind="inspect", urgency="act", sentence="Look."),),
)


def plain() -> dict[str, Any]:
    made: dict[str, Any] = json.loads(json.dumps(to_plain(FIGURES)))
    return made


def test_figures_survive_the_wire() -> None:
    assert from_plain(BenchFigures, plain()) == FIGURES


def test_keys_of_a_newer_program_are_ignored() -> None:
    assert from_plain(BenchFigures, plain() | {"colour": "blue"}) == FIGURES


def test_a_whole_number_is_read_where_a_fraction_is_meant() -> None:
    made = plain()
    made["fades"][0]["fade"]["per_month"] = 1

    read = from_plain(BenchFigures, made).fades[0].fade.per_month

    assert (read, type(read)) == (1.0, float)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"as_of": "soon"}, "as_of is no date"),
        ({"as_of": None}, "as_of is no date"),
        ({"slots": {}}, "slots is no list"),
        ({"slots": [3]}, r"slots\[0\] is no object"),
        ({"policy": {"plan_wear": "0.3"}}, "policy.plan_wear is no float"),
        ({"policy": {"silent_days": True}}, "policy.silent_days is no int"),
        ({"matters": [{"kind": "x", "urgency": "y"}]}, r"matters\[0\].sentence"),
    ],
)
def test_what_is_no_such_record_is_refused_with_its_place(
    change: dict[str, Any], where: str
) -> None:
    with pytest.raises(UnreadableRecord, match=where):
        from_plain(BenchFigures, plain() | change)


def test_a_value_that_is_not_one_of_those_allowed_is_refused() -> None:
    made = plain()
    made["fades"][0]["fade"]["lender"] = "a friend"

    with pytest.raises(UnreadableRecord, match="none of the values"):
        from_plain(BenchFigures, made)
