"""Cutting a body into its reports."""

import json
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fadewatch_collector.api.batches import BadReport, read_batch
from fadewatch_collector.api.problems import Refused
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.usecases.intake import ReceivedReport
from fadewatch_common.encoding import to_json
from tests.reports import make_report

SCALARS: st.SearchStrategy[Any] = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text()
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4)
    ),
    max_leaves=12,
)
BLANKS = st.sampled_from(["", " ", "\n\t", "  \r\n"])
GOOD = to_json(make_report())


@given(values=st.lists(VALUES, max_size=6), blank=BLANKS, before=VALUES, after=VALUES)
def test_any_values_and_good_reports_among_them_are_told_apart(
    values: list[Any], blank: str, before: Any, after: Any
) -> None:
    texts = [GOOD, *(json.dumps(value) for value in values), GOOD]
    listed = f"{blank},{blank}".join(texts)
    body = (
        f'{blank}{{"a":{json.dumps(before)},{blank}"reports"{blank}:{blank}[{blank}'
        f'{listed}{blank}]{blank},"b":{blank}{json.dumps(after)}{blank}}}{blank}'
    )

    batch = read_batch(body.encode())

    first, *middle, last = batch
    assert isinstance(first, ReceivedReport)
    assert isinstance(last, ReceivedReport)
    assert first.body == last.body == GOOD
    assert [type(report) for report in middle] == [BadReport] * len(values)


@given(blank=BLANKS, news=VALUES)
def test_a_report_alone_is_read_as_it_is_among_others(blank: str, news: Any) -> None:
    text = f'{GOOD[:-1]},{blank}"news":{json.dumps(news)}{blank}}}'
    body = f'{blank}{{"reports"{blank}:[{blank}%s{blank}]{blank}}}'

    (alone,) = read_batch((body % text).encode())
    first, second = read_batch((body % f"{text}{blank},{blank}{text}").encode())

    assert alone == first == second


@given(st.binary() | st.text().map(str.encode) | VALUES.map(json.dumps).map(str.encode))
@example(b"{" + b'"reports":' + b"[" * 100_000)
def test_any_bytes_give_reports_or_one_typed_error(body: bytes) -> None:
    try:
        batch = read_batch(body)
    except (InvalidRequest, Refused):
        return
    assert isinstance(json.loads(body)["reports"], list)
    assert all(isinstance(report, BadReport) for report in batch)


@given(at=st.integers(0, len(GOOD)), junk=st.binary(max_size=3))
def test_a_damaged_report_never_passes_for_a_good_one(at: int, junk: bytes) -> None:
    text = GOOD.encode()
    body = b'{"reports":[' + text[:at] + junk + text[at + len(junk) :] + b"]}"

    try:
        batch = read_batch(body)
    except InvalidRequest:
        return
    for report in batch:
        if isinstance(report, ReceivedReport):
            assert json.loads(report.body)["report_id"].lower() == report.report_id


def test_a_number_of_many_digits_spoils_only_its_own_report() -> None:
    digits = "9" * 10_000
    body = f'{{"x":{digits},"reports":[{{"report_id":{digits}}},{GOOD}]}}'

    bad, good = read_batch(body.encode())

    assert isinstance(bad, BadReport)
    assert isinstance(good, ReceivedReport)


def test_an_id_in_capitals_is_kept_in_its_canonical_form() -> None:
    report_id = make_report().report_id
    text = GOOD.replace(json.loads(GOOD)["report_id"], report_id.upper())

    (report,) = read_batch(f'{{"reports":[{text}]}}'.encode())

    assert isinstance(report, ReceivedReport)
    assert report.report_id == report_id


def test_the_place_of_a_mistake_in_the_json_is_told() -> None:
    with pytest.raises(InvalidRequest, match="line 2 column 1"):
        read_batch(b'{"reports": [1\n2]}')
