"""POST /reports: an agent delivers what it has read."""

import asyncio
from collections.abc import Sequence

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.answers import ReportResult, ReportResults
from fadewatch_collector.api.batches import BadReport, read_batch
from fadewatch_collector.api.bodies import read_body
from fadewatch_collector.api.keys import (
    AGENT_KEY,
    INTAKE,
    KNOWN_KEY,
    KNOWN_KEYS,
    REPORT_BUCKETS,
)
from fadewatch_collector.api.replies import reply
from fadewatch_collector.edge.meters import METERS
from fadewatch_collector.usecases.agent_keys import KeyEnded
from fadewatch_collector.usecases.intake import ReceivedReport, ReportStatus
from fadewatch_common.report import MAX_BODY_BYTES

THREAD_BYTES = 256 * 1024
"""Body from which reading it moves off the event loop [bytes].

Own choice: a body of this size takes some milliseconds.
"""

_RESULTS = TypeAdapter(ReportResults)


async def take_reports(request: web.Request) -> web.Response:
    """Store the good reports, and answer for each once it is durable."""
    key = request[KNOWN_KEY]
    request.app[REPORT_BUCKETS].take(key.laptop_id)
    body = await read_body(request, MAX_BODY_BYTES)
    if len(body) < THREAD_BYTES:
        batch = read_batch(body)
    else:
        batch = await asyncio.to_thread(read_batch, body)
    good = [report for report in batch if isinstance(report, ReceivedReport)]
    if len(good) < len(batch):
        _count_rejected(request, len(batch) - len(good))
    try:
        receipt = await request.app[INTAKE].receive(key, good)
    except KeyEnded:
        request.app[KNOWN_KEYS].forget(request[AGENT_KEY])
        raise
    results = ReportResults(
        results=_results(batch, receipt.statuses), renew_key=receipt.renew_key
    )
    return reply(_RESULTS, results, without_defaults=True)


def _results(
    batch: Sequence[ReceivedReport | BadReport], statuses: Sequence[ReportStatus]
) -> list[ReportResult]:
    stored = iter(statuses)
    return [
        _rejected(r) if isinstance(r, BadReport) else _kept(next(stored)) for r in batch
    ]


def _count_rejected(request: web.Request, count: int) -> None:
    meters = request.config_dict.get(METERS)
    if meters is not None:
        meters.rejected(count)


def _rejected(report: BadReport) -> ReportResult:
    return ReportResult(
        report_id=report.report_id, status="rejected", problem=report.problem
    )


def _kept(status: ReportStatus) -> ReportResult:
    return ReportResult(report_id=status.report_id, status=status.status)
