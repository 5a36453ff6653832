"""Take reports in: gather what arrived, commit once, answer everyone.

A report is answered 'stored' only after the commit that holds it. While one commit
runs the next batch gathers, so there is no timer and an idle collector answers at
once. A queue that is full answers 'come back later' instead of growing.
"""

import asyncio
import logging
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from fadewatch_collector.errors import QueueFull, StoreTrouble
from fadewatch_collector.store.report_group import NewReport, ReportWriter, Written
from fadewatch_collector.store.report_writer import report_writer
from fadewatch_collector.usecases.agent_keys import KeyEnded
from fadewatch_collector.usecases.intake_tally import Commit, Tally
from fadewatch_collector.usecases.known_keys import KnownKey
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
class Receipt:
    """What became of a request's reports, and whether its key should be renewed."""

    statuses: Sequence[ReportStatus]
    renew_key: bool


@dataclass(frozen=True, slots=True)
class _Request:
    laptop_id: int
    key: KnownKey | None
    reports: Sequence[ReceivedReport]
    answer: asyncio.Future[Receipt]


class Intake:
    """The one writer of reports in this process.

    Parameters
    ----------
    on_stored
        Called when there is something to file.
    on_commit
        Called after each commit.
    writer
        Writes the reports; one on this process's threads otherwise.
    """

    def __init__(
        self,
        services: Services,
        on_stored: Callable[[], None],
        on_commit: Callable[[Commit], None] = lambda _commit: None,
        writer: ReportWriter | None = None,
    ) -> None:
        self._services = services
        self._on_stored = on_stored
        self._on_commit = on_commit
        self._tally = Tally()
        self._writer = writer or report_writer(services.store)
        self._waiting: deque[_Request] = deque()
        self._waiting_reports = 0
        self._arrived = asyncio.Event()
        self._closing = False

    @property
    def depth(self) -> int:
        """Number of reports that wait for their commit."""
        return self._waiting_reports

    async def receive(
        self, key: KnownKey, reports: Sequence[ReceivedReport]
    ) -> Receipt:
        """Store reports that came with a key; returns when they are durable.

        Raises
        ------
        KeyEnded
            The key is not valid any more; nothing was stored.
        QueueFull
            Too many reports wait already, or the collector is stopping.
        """
        return await self._queued(key.laptop_id, key, reports)

    async def store(
        self, laptop_id: int, reports: Sequence[ReceivedReport]
    ) -> Sequence[ReportStatus]:
        """Store reports of one laptop, from inside the collector.

        Raises
        ------
        QueueFull
            As :meth:`receive`.
        """
        return (await self._queued(laptop_id, None, reports)).statuses

    async def _queued(
        self, laptop_id: int, key: KnownKey | None, reports: Sequence[ReceivedReport]
    ) -> Receipt:
        room = self._services.settings.intake_queue - self._waiting_reports
        # A request larger than the whole queue still gets in when nothing waits.
        full = len(reports) > room and self._waiting_reports > 0
        if self._closing or full:
            raise QueueFull(RETRY_AFTER_S)
        answer: asyncio.Future[Receipt] = asyncio.get_running_loop().create_future()
        self._waiting.append(_Request(laptop_id, key, reports, answer))
        self._waiting_reports += len(reports)
        self._arrived.set()
        # A client that hangs up cancels its answer and not the commit.
        return await answer

    async def run(self) -> None:
        """Commit what arrives until ``close`` is called and all is written."""
        async with self._writer:
            while True:
                await self._arrived.wait()
                self._arrived.clear()
                while self._waiting:
                    await self._commit(self._take())
                if self._closing:
                    self._tally.tell()
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
            written = await self._write(batch)
        except StoreTrouble:
            log.exception("reports could not be written; agents will send them again")
            self._refuse(batch, QueueFull(RETRY_AFTER_S))
        except Exception as problem:
            # One request the database chokes on must not cost its neighbours.
            if len(batch) > 1:
                middle = len(batch) // 2
                await self._commit(batch[:middle])
                await self._commit(batch[middle:])
                return
            log.exception("a request could not be written")
            self._refuse(batch, problem)
        else:
            if written.new:
                self._on_stored()
            self._answer(batch, written)

    async def _write(self, batch: list[_Request]) -> Written:
        group = [
            NewReport(
                report.report_id,
                request.laptop_id,
                None if request.key is None else request.key.id,
                report.measured_at,
                report.body,
            )
            for request in batch
            for report in request.reports
        ]
        keys = {request.key.id for request in batch if request.key is not None}
        started, now = time.perf_counter(), self._services.clock()
        written = await self._writer.write(group, keys, now)
        took = time.perf_counter() - started
        commit = Commit(len(batch), len(group), len(written.new), took)
        self._tally.note(commit, now)
        self._on_commit(commit)
        return written

    def _answer(self, batch: list[_Request], written: Written) -> None:
        now, new = self._services.clock(), set(written.new)
        for request in batch:
            key = request.key
            if key is not None and key.id not in written.keys:
                self._refuse([request], KeyEnded())
                continue
            self._waiting_reports -= len(request.reports)
            renew = key is not None and (written.keys[key.id] or now >= key.renew_from)
            statuses = _statuses(request, new)
            if not request.answer.done():
                request.answer.set_result(Receipt(statuses, renew))

    def _refuse(self, batch: list[_Request], problem: Exception) -> None:
        for request in batch:
            self._waiting_reports -= len(request.reports)
            if not request.answer.done():
                request.answer.set_exception(problem)
                # The client may have gone: an exception nobody awaits is no news.
                request.answer.exception()


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
