"""The bounds: what they refuse, and that pydantic refuses the same."""

import json
from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from fadewatch_common.bounds import AtMost, Aware, Between, OneOf, Text, problems
from fadewatch_common.encoding import to_json
from fadewatch_common.report import (
    MAX_DRIVES,
    MAX_PACKS,
    MAX_REMARKS,
    Agent,
    Drive,
    Laptop,
    Memory,
    MemorySlot,
    Pack,
    Report,
)

REPORTS = TypeAdapter(Report)

GOOD = Report(
    report_id="01958f0c-7d00-7000-8000-000000000007",
    measured_at=datetime(2026, 3, 14, 9, 26, 53, tzinfo=UTC),
    agent=Agent(version="0.1.0", platform="Linux"),
    laptop=Laptop(serial="TH4X9Q7K"),
    packs=(Pack(slot="BAT0", unit="mWh", made_on=date(2023, 3, 15)),),
    memory=Memory(total_mib=8192, slots=(MemorySlot(locator="A", size_mib=8192),)),
    drives=(Drive(name="sda", size_bytes=10**12),),
)


def taken_by_pydantic(report: Report) -> bool:
    """Say whether the collector's check takes the report as it would be sent."""
    try:
        text = to_json(report).encode("utf-8")
    except UnicodeEncodeError:
        return False
    try:
        REPORTS.validate_json(text, strict=True)
    except ValidationError:
        return False
    return True


def test_a_good_report_has_no_problem() -> None:
    assert list(problems(GOOD)) == []
    assert taken_by_pydantic(GOOD)


@pytest.mark.parametrize(
    ("value", "problem"),
    [
        ("abc", None),
        ("", "is shorter than 1 characters"),
        ("abcd", "is longer than 3 characters"),
        ("a\tb", "holds unprintable characters"),
        ("\x85", "holds unprintable characters"),
        ("\ud800", "holds unprintable characters"),
        (7, "is not text"),
        ("é№", None),
    ],
)
def test_text(value: object, problem: str | None) -> None:
    assert Text(3, min_length=1).problem(value) == problem


@pytest.mark.parametrize(
    ("value", "problem"),
    [
        (0, None),
        (7, None),
        (-1, "is not between 0 and 7"),
        (8, "is not between 0 and 7"),
        (float("nan"), "is not between 0 and 7"),
        (True, "is not a number"),
        ("5", "is not a number"),
    ],
)
def test_between(value: object, problem: str | None) -> None:
    assert Between(0, 7).problem(value) == problem


def test_at_most() -> None:
    assert AtMost(1).problem(("a",)) is None
    assert AtMost(1).problem(("a", "b")) == "has more than 1 items"
    assert AtMost(1).problem(["a"]) == "is not a list"


def test_one_of() -> None:
    assert OneOf(("a", 1)).problem("a") is None
    assert OneOf(("a", 1)).problem("b") == "is not one of a, 1"
    assert OneOf((1,)).problem(True) == "is not one of 1"


EAST = timezone(timedelta(hours=9))


@pytest.mark.parametrize(
    ("value", "problem"),
    [
        (datetime(2026, 3, 14, tzinfo=EAST), None),
        (datetime(2026, 3, 14), "is not a moment with an offset from UTC"),  # noqa: DTZ001
        ("2026-03-14", "is not a moment with an offset from UTC"),
        (datetime(1969, 12, 31, tzinfo=UTC), "is outside the years 1970 to 2199"),
        # Still 1969 in UTC, which is what is sent.
        (datetime(1970, 1, 1, 8, tzinfo=EAST), "is outside the years 1970 to 2199"),
        (datetime(1, 1, 1, tzinfo=EAST), "is outside the years 1970 to 2199"),
    ],
)
def test_aware(value: object, problem: str | None) -> None:
    assert Aware().problem(value) == problem


def broken(**changes: Any) -> Report:
    """Return a report with values that its types forbid."""
    return replace(GOOD, **changes)


def with_pack(**changes: Any) -> Report:
    return replace(GOOD, packs=(replace(GOOD.packs[0], **changes),))


@pytest.mark.parametrize(
    ("report", "sentence"),
    [
        (with_pack(slot=""), "report.packs[0].slot is shorter than 1 characters"),
        (with_pack(unit="Wh"), "report.packs[0].unit is not one of mWh, mAh, relative"),
        (with_pack(unit=None), "report.packs[0].unit is missing"),
        (with_pack(cycle_count=0), "report.packs[0].cycle_count is not between 1 and"),
        (with_pack(cycle_count=1.5), "report.packs[0].cycle_count is not a int"),
        (with_pack(made_on="2023"), "report.packs[0].made_on is not a date"),
        (with_pack(made_on=datetime(2023, 1, 1, tzinfo=UTC)), "made_on is not a date"),
        (broken(mains_online=1), "report.mains_online is not a bool"),
        (broken(laptop=GOOD.agent), "report.laptop is not a Laptop"),
        (replace(GOOD, packs=GOOD.packs * 9), "report.packs has more than 8 items"),
        (broken(packs=(None,)), "report.packs[0] is missing"),
        (broken(packs=[]), "report.packs is not a list"),
        (replace(GOOD, remarks=("a\n",)), "report.remarks[0] holds unprintable"),
        (broken(schema=2), "report.schema is not one of 1"),
        (replace(GOOD, report_id="x"), "report.report_id is shorter than 36"),
    ],
)
def test_each_field_is_checked_and_named(report: Report, sentence: str) -> None:
    (problem,) = problems(report)

    assert sentence in problem


@pytest.mark.parametrize("value", [None, 7, Report, "report"])
def test_what_is_no_record_is_a_problem(value: object) -> None:
    assert list(problems(value, "it")) == ["it is not a record"]


wild_text = st.one_of(
    st.text(max_size=6),
    st.text(st.characters(categories=("Cs", "Cc", "L")), max_size=4),
    st.sampled_from(["", "x" * 36, "x" * 37, "x" * 128, "x" * 129, "x" * 301, "\x7f"]),
)
wild_number = st.one_of(
    st.integers(-2, 101),
    st.sampled_from([2**31 - 1, 2**31, 2**60, 2**60 + 1, 2**70, 1_000_001]),
)
wild_fraction = st.one_of(
    st.floats(-70, 160), st.sampled_from([float("nan"), float("inf"), -60.0, 150.0, 30])
)
wild_moment = st.datetimes(
    datetime(1969, 1, 1),  # noqa: DTZ001  (the strategy wants bare bounds)
    datetime(2201, 1, 1),  # noqa: DTZ001
    timezones=st.one_of(st.none(), st.sampled_from([UTC, EAST])),
)
PACK_FIELDS: dict[str, st.SearchStrategy[Any]] = {
    "slot": wild_text,
    "unit": st.sampled_from(["mWh", "mAh", "relative", "Wh", ""]),
    "state": st.sampled_from(["charging", "held", "on fire"]),
    "made_on": st.none() | st.dates(),
    "temperature_c": st.none() | wild_fraction,
    "chemistry": st.none() | wild_text,
    "maker": st.none() | wild_text,
    "model": st.none() | wild_text,
    "serial": st.none() | wild_text,
}


def numbers_of(kind: type, known: dict[str, st.SearchStrategy[Any]]) -> dict[str, Any]:
    """Give every other field of a record of numbers a wild number or nothing."""
    others = {f.name for f in fields(kind)} - known.keys()
    return known | dict.fromkeys(others, st.none() | wild_number)


wild_packs = st.builds(Pack, **numbers_of(Pack, PACK_FIELDS))
wild_slots = st.builds(
    MemorySlot,
    locator=wild_text,
    size_mib=wild_number,
    kind=st.none() | wild_text,
    speed_mts=st.none() | wild_number,
    maker=st.none() | wild_text,
    part=st.none() | wild_text,
    soldered=st.none() | st.booleans(),
)
wild_drives = st.builds(
    Drive,
    name=wild_text,
    size_bytes=wild_number,
    kind=st.sampled_from(["nvme", "ssd", "tape"]),
    model=st.none() | wild_text,
    serial=st.none() | wild_text,
)
wild_laptops = st.builds(
    Laptop, **{f.name: st.none() | wild_text for f in fields(Laptop)}
)
wild_agents = st.builds(Agent, version=wild_text, platform=wild_text)


@st.composite
def reports(draw: st.DrawFn) -> Report:
    """Draw a good report with one part made wild, so that both answers are common."""
    part = draw(
        st.sampled_from(
            ["packs", "drives", "memory", "laptop", "agent", "measured_at", "remarks"]
        )
    )
    values: dict[str, st.SearchStrategy[Any]] = {
        "packs": st.lists(wild_packs, max_size=MAX_PACKS + 1).map(tuple),
        "drives": st.lists(wild_drives, max_size=2).map(tuple),
        "memory": st.builds(
            Memory,
            total_mib=wild_number,
            slots=st.lists(wild_slots, max_size=2).map(tuple),
        ),
        "laptop": wild_laptops,
        "agent": wild_agents,
        "measured_at": wild_moment,
        "remarks": st.lists(wild_text, max_size=3).map(tuple),
    }
    return replace(GOOD, **{part: draw(values[part])})


@given(reports())
@example(replace(GOOD, drives=GOOD.drives * MAX_DRIVES))
@example(replace(GOOD, drives=GOOD.drives * (MAX_DRIVES + 1)))
@example(replace(GOOD, remarks=("",) * MAX_REMARKS))
@example(replace(GOOD, remarks=("",) * (MAX_REMARKS + 1)))
@example(replace(GOOD, remarks=("a\n",)))
@example(with_pack(temperature_c=30))
@example(with_pack(made_on=date(1, 1, 1)))
@example(replace(GOOD, measured_at=datetime(1970, 1, 1, 8, tzinfo=EAST)))
def test_agent_and_collector_agree_on_every_report(report: Report) -> None:
    # A moment without an offset would be sent as if it were local time.
    told = list(problems(report))
    if report.measured_at.tzinfo is None:
        assert told
        return

    assert taken_by_pydantic(report) is not bool(told)


@given(reports())
def test_a_report_comes_back_from_its_json(report: Report) -> None:
    if list(problems(report)):
        return

    back = REPORTS.validate_json(to_json(report), strict=True)

    assert back == report


def json_values() -> st.SearchStrategy[Any]:
    return st.recursive(
        st.none() | st.booleans() | wild_number | st.floats() | wild_text,
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(st.sampled_from([f.name for f in fields(Pack)]), inner)
        ),
        max_leaves=6,
    )


def paths(value: object) -> Iterator[tuple[Any, ...]]:
    """Yield the way to every value inside a JSON value."""
    yield ()
    if isinstance(value, dict):
        for name in value:
            yield from ((name, *rest) for rest in paths(value[name]))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from ((index, *rest) for rest in paths(item))


def changed(value: Any, path: tuple[Any, ...], new: object) -> Any:
    if not path:
        return new
    copy = dict(value) if isinstance(value, dict) else list(value)
    copy[path[0]] = changed(value[path[0]], path[1:], new)
    return copy


@given(st.data())
def test_what_the_collector_takes_has_no_problem_by_our_own_rules(
    data: st.DataObject,
) -> None:
    plain = json.loads(to_json(GOOD))
    path = data.draw(st.sampled_from(list(paths(plain))))
    body = changed(plain, path, data.draw(json_values()))
    try:
        report = REPORTS.validate_json(json.dumps(body), strict=True)
    except ValidationError:
        return

    assert list(problems(report)) == []
