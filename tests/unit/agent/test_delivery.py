"""Batches, patience and what an answer settles."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.delivery import (
    BATCH_BYTES,
    LONGEST_BACKOFF,
    Delivered,
    Patience,
    backoff,
    deliver,
)
from fadewatch_agent.errors import (
    DeliveryError,
    NotACollector,
    Refused,
    Unacceptable,
    Unreachable,
)
from fadewatch_agent.spool import SetAside, Spool
from fadewatch_common.report import MAX_BODY_BYTES, MAX_REPORTS


@pytest.fixture
def spool() -> Iterator[Spool]:
    with Spool(Path(":memory:"), limit=5000) as opened:
        yield opened


def fill(spool: Spool, *names: str, padding: int = 0) -> None:
    for name in names:
        body = {"report_id": name, "padding": "x" * padding}
        spool.put(name, "2026-03-14", json.dumps(body, separators=(",", ":")))


@dataclass
class Collector:
    """Stands for the network: answers each post by a rule and keeps what was sent."""

    rule: Callable[[list[str]], dict[str, Any]]
    posts: list[list[str]] = field(default_factory=list)

    def __call__(self, body: bytes) -> dict[str, Any]:
        assert len(body) <= BATCH_BYTES <= MAX_BODY_BYTES
        ids = [report["report_id"] for report in json.loads(body)["reports"]]
        self.posts.append(ids)
        return self.rule(ids)


def stored(ids: list[str]) -> dict[str, Any]:
    return {"results": [{"report_id": i, "status": "stored"} for i in ids]}


def patience(seconds: float = 0, waits: list[float] | None = None) -> Patience:
    """Wait in no time; jitter always takes the whole range."""
    return Patience(seconds, (waits if waits is not None else []).append, lambda m: m)


def test_everything_is_delivered_in_order(spool: Spool) -> None:
    fill(spool, "a", "b", "c")
    collector = Collector(stored)

    assert deliver(spool, collector, patience()) == Delivered(3, 0)
    assert collector.posts == [["a", "b", "c"]]
    assert spool.depth() == 0


def test_an_empty_queue_asks_nobody(spool: Spool) -> None:
    collector = Collector(stored)

    assert deliver(spool, collector, patience()) == Delivered()
    assert collector.posts == []


def test_batches_hold_500_reports(spool: Spool) -> None:
    fill(spool, *(f"{i}" for i in range(1001)))
    collector = Collector(stored)

    deliver(spool, collector, patience())

    assert [len(post) for post in collector.posts] == [MAX_REPORTS, MAX_REPORTS, 1]


def test_batches_hold_half_a_mebibyte(spool: Spool) -> None:
    fill(spool, *(f"{i}" for i in range(9)), padding=128 * 1024)
    collector = Collector(stored)

    deliver(spool, collector, patience())

    assert [len(post) for post in collector.posts] == [3, 3, 3]


def test_a_duplicate_counts_as_delivered(spool: Spool) -> None:
    fill(spool, "a")
    answer = {"results": [{"report_id": "a", "status": "duplicate"}]}

    assert deliver(spool, Collector(lambda _: answer), patience()) == Delivered(1, 0)


def test_a_rejected_report_is_set_aside_and_blocks_nobody(spool: Spool) -> None:
    fill(spool, "a", "b")
    told = {"report_id": "a", "status": "rejected", "problem": "no slot"}

    def rule(ids: list[str]) -> dict[str, Any]:
        return {"results": [told, *stored(ids)["results"][1:]]}

    assert deliver(spool, Collector(rule), patience()) == Delivered(1, 1)
    assert spool.depth() == 0
    assert spool.set_aside() == [SetAside("a", "no slot")]


@pytest.mark.parametrize(
    "answer",
    [
        {},
        {"results": None},
        {"results": "stored"},
        {"results": []},
        {"results": [None, 7, [], {"status": "stored"}]},
        {"results": [{"report_id": ["a"], "status": "stored"}]},
        {"results": [{"report_id": "other", "status": "stored"}]},
        {"results": [{"report_id": "a", "status": "lost"}]},
        {"results": [{"report_id": "a", "status": ["stored"]}]},
        {"results": [{"report_id": "a"}]},
    ],
)
def test_what_an_answer_does_not_name_stays_queued(
    spool: Spool, answer: dict[str, Any]
) -> None:
    fill(spool, "a")
    collector = Collector(lambda _: answer)

    with pytest.raises(NotACollector, match="says nothing of 1 of"):
        deliver(spool, collector, patience())

    assert spool.depth() == 1
    assert len(collector.posts) == 1


def test_what_an_answer_names_is_settled_though_it_forgets_others(spool: Spool) -> None:
    fill(spool, "a", "b")

    with pytest.raises(NotACollector):
        deliver(spool, Collector(lambda ids: stored(ids[:1])), patience())

    assert [row.report_id for row in spool.waiting(10, 10**6)] == ["b"]


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.text(st.characters(), max_size=5)
        | st.sampled_from(["a", "stored", "rejected", "\ud800"]),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(["results", "report_id", "status", "problem"]), inner
            )
        ),
        max_leaves=8,
    )
)
def test_no_answer_loses_a_report_or_stops_with_another_error(results: object) -> None:
    with Spool(Path(":memory:"), limit=10) as spool:
        fill(spool, "a")
        try:
            deliver(spool, Collector(lambda _: {"results": results}), patience())
        except DeliveryError:
            assert spool.depth() == 1


def test_one_report_at_fault_is_found_and_set_aside(spool: Spool) -> None:
    fill(spool, *(f"{i}" for i in range(40)))

    def rule(ids: list[str]) -> dict[str, Any]:
        if "17" in ids:
            raise Unacceptable("answer 400")
        return stored(ids)

    assert deliver(spool, Collector(rule), patience()) == Delivered(39, 1)
    assert spool.set_aside() == [SetAside("17", "answer 400")]


def test_a_collector_that_faults_everything_does_not_empty_the_queue(
    spool: Spool,
) -> None:
    fill(spool, *(f"{i}" for i in range(40)))

    def rule(_: list[str]) -> dict[str, Any]:
        raise Unacceptable("answer 422")

    with pytest.raises(Unacceptable):
        deliver(spool, Collector(rule), patience())

    assert spool.depth() == 37
    assert len(spool.set_aside()) == 3


def test_a_body_damaged_on_disk_is_set_aside_unsent(spool: Spool) -> None:
    fill(spool, "a", "b")
    spool._connection.execute("UPDATE queued SET body = '{' WHERE report_id = 'a'")
    collector = Collector(stored)

    assert deliver(spool, collector, patience()) == Delivered(1, 0)
    assert collector.posts == [["b"]]
    assert spool.set_aside() == [SetAside("a", "damaged")]


def unreachable(times: int, retry_after: float | None = None) -> Collector:
    """Return a collector that cannot be reached a few times."""
    collector = Collector(stored)

    def rule(ids: list[str]) -> dict[str, Any]:
        if len(collector.posts) <= times:
            raise Unreachable("no answer", retry_after)
        return stored(ids)

    collector.rule = rule
    return collector


def test_waits_double_up_to_a_limit(spool: Spool) -> None:
    fill(spool, "a")
    waits: list[float] = []

    deliver(spool, unreachable(7), patience(1000, waits))

    assert waits == [2, 4, 8, 16, 32, 60, 60]


def test_the_collectors_wish_is_obeyed_with_jitter_on_top(spool: Spool) -> None:
    fill(spool, "a")
    waits: list[float] = []

    deliver(spool, unreachable(2, retry_after=5), patience(1000, waits))

    assert waits == [5 + 2, 5 + 4]


def test_patience_ends_before_a_wait_that_is_too_long(spool: Spool) -> None:
    fill(spool, "a")
    waits: list[float] = []

    with pytest.raises(Unreachable) as raised:
        deliver(spool, unreachable(1, retry_after=500), patience(60, waits))

    assert waits == []
    assert raised.value.retry_after == 500
    assert spool.depth() == 1


def test_patience_is_for_all_waits_together(spool: Spool) -> None:
    fill(spool, "a")
    waits: list[float] = []

    with pytest.raises(Unreachable):
        deliver(spool, unreachable(9), patience(10, waits))

    assert waits == [2, 4]


def test_a_refusal_is_not_tried_again(spool: Spool) -> None:
    fill(spool, "a")

    def rule(_: list[str]) -> dict[str, Any]:
        raise Refused("answer 401")

    collector = Collector(rule)
    with pytest.raises(Refused):
        deliver(spool, collector, patience(1000))

    assert len(collector.posts) == 1
    assert spool.depth() == 1


@given(st.integers(0, 5000), st.floats(0, 1))
def test_jitter_covers_the_whole_range(attempt: int, share: float) -> None:
    wait = backoff(attempt, lambda most: share * most)

    assert 0 <= wait <= LONGEST_BACKOFF
    assert wait == pytest.approx(share * backoff(attempt, lambda most: most))


def test_a_reason_that_is_no_text_can_be_kept_all_the_same(spool: Spool) -> None:
    fill(spool, "a")
    answer = {"report_id": "a", "status": "rejected", "problem": "\ud800\x1b[2Jno"}

    deliver(spool, Collector(lambda _: {"results": [answer]}), patience())

    assert spool.set_aside() == [SetAside("a", "[2Jno")]


def test_a_body_nested_without_end_is_set_aside_unsent(spool: Spool) -> None:
    spool.put("a", "2026-03-14", "[" * 100_000)

    deliver(spool, Collector(stored), patience())

    assert spool.set_aside() == [SetAside("a", "damaged")]
