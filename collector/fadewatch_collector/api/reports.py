"""POST /reports: an agent delivers what it has read.

Most of what a collector is asked, by far. So it stands on the root application, where a
request goes by fewer hands, and adds the API's headers and problems by itself.
"""

import asyncio
from collections.abc import Sequence

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api import keys
from fadewatch_collector.api.answers import ReportResult, ReportResults
from fadewatch_collector.api.batches import BadReport, read_batch
from fadewatch_collector.api.bodies import read_body
from fadewatch_collector.api.callers import agent_key
from fadewatch_collector.api.headers import add_headers, unexpected
from fadewatch_collector.api.problems import problems
from fadewatch_collector.api.queries import NoQuery, read_query
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
_NO_QUERY = TypeAdapter(NoQuery)


class Delivery:
    """Takes reports in for the API's application."""

    def __init__(self, api: web.Application) -> None:
        self._intake = api[keys.INTAKE]
        self._keys = api[keys.KNOWN_KEYS]
        self._buckets = api[keys.REPORT_BUCKETS]
        self._timeout_s = api[keys.LIMITS].body_timeout_s

    async def take(self, request: web.Request) -> web.StreamResponse:
        """Store the good reports, and answer for each once it is durable."""
        response = await problems(request, self._taken)
        await add_headers(request, response)
        return response

    async def expected(self, request: web.Request) -> web.StreamResponse | None:
        """Answer the Expect header before the body comes."""
        response = await unexpected(request)
        if response is not None:
            await add_headers(request, response)
        return response

    async def _taken(self, request: web.Request) -> web.Response:
        secret = agent_key(request)
        key = self._keys.known(secret) or await self._keys.find(secret)
        if request.query_string:
            read_query(request, _NO_QUERY)
        self._buckets.take(key.laptop_id)
        body = await read_body(request, MAX_BODY_BYTES, timeout_s=self._timeout_s)
        if len(body) < THREAD_BYTES:
            batch = read_batch(body)
        else:
            batch = await asyncio.to_thread(read_batch, body)
        good = [report for report in batch if isinstance(report, ReceivedReport)]
        if len(good) < len(batch):
            _count_rejected(request, len(batch) - len(good))
        try:
            receipt = await self._intake.receive(key, good)
        except KeyEnded:
            self._keys.forget(secret)
            raise
        results = ReportResults(
            results=_results(batch, receipt.statuses), renew_key=receipt.renew_key
        )
        return reply(_RESULTS, results, without_defaults=True)


async def take_reports(request: web.Request) -> web.StreamResponse:
    """Do it for a request that came by the API's own router."""
    return await Delivery(request.app).take(request)


def _results(
    batch: Sequence[ReceivedReport | BadReport], statuses: Sequence[ReportStatus]
) -> list[ReportResult]:
    stored = iter(statuses)
    return [
        _rejected(r) if isinstance(r, BadReport) else _kept(next(stored)) for r in batch
    ]


def _count_rejected(request: web.Request, count: int) -> None:
    meters = request.match_info.apps[0].get(METERS)
    if meters is not None:
        meters.rejected(count)


def _rejected(report: BadReport) -> ReportResult:
    return ReportResult(
        report_id=report.report_id, status="rejected", problem=report.problem
    )


def _kept(status: ReportStatus) -> ReportResult:
    return ReportResult(report_id=status.report_id, status=status.status)
