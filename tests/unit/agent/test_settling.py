"""Waiting reports get their true time once."""

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from fadewatch_agent.clock import Taken, Ticks
from fadewatch_agent.settling import settle_times
from fadewatch_agent.spool import Spool
from fadewatch_common.encoding import to_json
from fadewatch_common.report import MAX_REMARKS, Report
from tests.reports import make_report

NOW = Taken(datetime(2026, 11, 25, 12, tzinfo=UTC), Ticks("b", 7200.0))
LONG_AGO = datetime(2000, 1, 1, 0, 5, tzinfo=UTC)


@pytest.fixture
def spool() -> Iterator[Spool]:
    with Spool(Path(":memory:"), limit=100) as opened:
        yield opened


def put(spool: Spool, claimed: datetime, ticks: Ticks | None, remarks: int = 0) -> None:
    whole = replace(
        make_report(),
        measured_at=claimed,
        remarks=tuple("x" * (remarks and 1) for _ in range(remarks)),
    )
    spool.put(whole.report_id, claimed.date().isoformat(), to_json(whole), ticks)


def waiting(spool: Spool) -> dict[str, Any]:
    (row,) = spool.waiting(10, 10**6)
    body: dict[str, Any] = json.loads(row.body)
    return body


def test_a_report_of_a_wrong_clock_is_corrected_and_keeps_both_times(
    spool: Spool,
) -> None:
    put(spool, LONG_AGO, Ticks("b", 300.0))

    assert settle_times(spool, NOW, 0.0) == 1

    body = waiting(spool)
    assert body["measured_at"] == "2026-11-25T10:05:00Z"
    assert "said 2000-01-01 00:05:00 UTC" in body["remarks"][-1]
    report = TypeAdapter(Report).validate_json(json.dumps(body), strict=True)
    assert report.measured_at == NOW.claimed - timedelta(seconds=6900)


def test_it_is_corrected_once(spool: Spool) -> None:
    put(spool, LONG_AGO, Ticks("b", 300.0))
    settle_times(spool, NOW, 0.0)
    before = waiting(spool)

    assert settle_times(spool, NOW, 9_999_999.0) == 0
    assert waiting(spool) == before


def test_a_right_time_is_left_as_it_was(spool: Spool) -> None:
    put(spool, NOW.claimed - timedelta(seconds=60), Ticks("b", 7140.0))
    before = waiting(spool)

    assert settle_times(spool, NOW, 0.0) == 0
    assert waiting(spool) == before


def test_a_report_full_of_remarks_stays_within_its_bounds(spool: Spool) -> None:
    put(spool, LONG_AGO, Ticks("b", 300.0), remarks=MAX_REMARKS)

    settle_times(spool, NOW, 0.0)

    assert len(waiting(spool)["remarks"]) == MAX_REMARKS


def test_a_damaged_body_is_left_for_the_delivery(spool: Spool) -> None:
    spool.put("x", "2026-03-14", "{not json")

    assert settle_times(spool, NOW, 0.0) == 0


def test_a_queue_of_the_first_layout_is_taken_over(tmp_path: Path) -> None:
    path = tmp_path / "spool.sqlite"
    with Spool(path, 10) as spool:
        put(spool, LONG_AGO, None)
    connection = sqlite3.connect(path)
    for column in ("boot", "ticks", "settled"):
        connection.execute(f"ALTER TABLE queued DROP COLUMN {column}")
    connection.execute("PRAGMA user_version = 1")
    connection.close()

    with Spool(path, 10) as spool:
        assert [row.boot for row in spool.unsettled()] == [None]
        assert spool.depth() == 1
