"""Take reports in: gather what arrived, commit once, answer everyone.

A report is answered 'stored' only after the commit that holds it. While one commit
runs the next batch gathers, so there is no timer and an idle collector answers at
once. A queue that is full answers 'come back later' instead of growing.
"""

import asyncio
import logging
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from fadewatch_collector.errors import QueueFull, StoreTrouble
from fadewatch_collector.store import intake as rows
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)

LARGEST_COMMIT = 2_000
"""Reports in one transaction: bounds how long a commit takes. Own choice."""

RETRY_AFTER_S = 5.0
"""What an agent is asked to wait when the queue is full [s]. Own choice."""

Outcome = Literal["stored", "duplicate"]


@dataclass(frozen=True, slots=True)
class ReceivedReport:
    """A valid report: its id, its own time, and its JSON text."""

    report_id: str
    measured_at: datetime
    body: str


@dataclass(frozen=True, slots=True)
class ReportStatus:
    """What became of one report."""

    report_id: str
    status: Outcome


@dataclass(frozen=True, slots=True)
class _Request:
    laptop_id: int
    reports: Sequence[ReceivedReport]
    answer: asyncio.Future[list[ReportStatus]] = field(
        default_factory=lambda: asyncio.get_running_loop().create_future()
    )


class Intake:
    """The one writer of reports in this process."""

    def __init__(self, services: Services, on_stored: Callable[[], None]) -> None:
        self._services = services
        self._on_stored = on_stored
        self._waiting: deque[_Request] = deque()
        self._waiting_reports = 0
        self._arrived = asyncio.Event()
        self._closing = False

    @property
    def depth(self) -> int:
        """Number of reports that wait for their commit."""
        return self._waiting_reports

    async def store(
        self, laptop_id: int, reports: Sequence[ReceivedReport]
    ) -> list[ReportStatus]:
        """Store reports of one laptop; returns when they are durable.

        Raises
        ------
        QueueFull
            Too many reports wait already, or the collector is stopping.
        """
        if not reports:
            return []
        room = self._services.settings.intake_queue - self._waiting_reports
        # A request larger than the whole queue still gets in when nothing waits.
        full = len(reports) > room and self._waiting_reports > 0
        if self._closing or full:
            raise QueueFull(RETRY_AFTER_S)
        request = _Request(laptop_id, reports)
        self._waiting.append(request)
        self._waiting_reports += len(reports)
        self._arrived.set()
        # The commit goes on when the client hangs up, so the future is shielded.
        return await asyncio.shield(request.answer)

    async def run(self) -> None:
        """Commit what arrives until ``close`` is called and all is written."""
        while True:
            await self._arrived.wait()
            self._arrived.clear()
            while self._waiting:
                await self._commit(self._take())
            if self._closing:
                return

    def close(self) -> None:
        """Take nothing more; ``run`` ends when what waits is written."""
        self._closing = True
        self._arrived.set()

    def _take(self) -> list[_Request]:
        batch: list[_Request] = []
        count = 0
        while self._waiting and (
            not batch or count + len(self._waiting[0].reports) <= LARGEST_COMMIT
        ):
            request = self._waiting.popleft()
            batch.append(request)
            count += len(request.reports)
        return batch

    async def _commit(self, batch: list[_Request]) -> None:
        try:
            new = await self._write(batch)
        except StoreTrouble:
            log.exception("reports could not be written; agents will send them again")
            self._settle(batch, QueueFull(RETRY_AFTER_S))
        except Exception as problem:
            # One request the database chokes on must not cost its neighbours.
            if len(batch) > 1:
                for request in batch:
                    await self._commit([request])
                return
            log.exception("a request could not be written")
            self._settle(batch, problem)
        else:
            if new:
                self._on_stored()
            self._settle(batch, new)

    async def _write(self, batch: list[_Request]) -> set[str]:
        now = self._services.clock()
        values = [
            {
                "report_id": report.report_id,
                "laptop_id": request.laptop_id,
                "measured_at": report.measured_at,
                "received_at": now,
                "body": report.body,
            }
            for request in batch
            for report in request.reports
        ]
        async with self._services.store.writing() as connection:
            new = await rows.add_reports(connection, values)
            contacts = {request.laptop_id: now for request in batch}
            await rows.note_contact(connection, contacts)
        return new

    def _settle(self, batch: list[_Request], outcome: set[str] | Exception) -> None:
        for request in batch:
            self._waiting_reports -= len(request.reports)
            if request.answer.done():
                continue
            if isinstance(outcome, Exception):
                request.answer.set_exception(outcome)
                # The client may have gone: an exception nobody awaits is no news.
                request.answer.exception()
            else:
                request.answer.set_result(_statuses(request, outcome))


def _statuses(request: _Request, new: set[str]) -> list[ReportStatus]:
    statuses = []
    for report in request.reports:
        fresh = report.report_id in new
        # The same id again, in this request or in its batch, is a duplicate.
        new.discard(report.report_id)
        statuses.append(
            ReportStatus(report.report_id, "stored" if fresh else "duplicate")
        )
    return statuses
