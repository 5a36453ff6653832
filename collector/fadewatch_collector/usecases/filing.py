"""File stored reports into packs, readings, slots and inventory.

Filing runs behind intake and picks up where it stopped: what waits stands in the
store's queue, and a batch leaves the queue in the transaction that files it.
"""

import asyncio
import logging
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from pydantic import TypeAdapter, ValidationError

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.rules.desk import Desk, scoped_identity
from fadewatch_collector.rules.event_findings import clash_finding, hardware_finding
from fadewatch_collector.rules.identity import pack_identity
from fadewatch_collector.rules.inventory import Change
from fadewatch_collector.rules.moments import believable_moment
from fadewatch_collector.store import filing as rows
from fadewatch_collector.store import intake
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.intake import StoredReport
from fadewatch_collector.store.search import refresh_terms
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.alerts import raise_event
from fadewatch_collector.usecases.services import Services
from fadewatch_common.report import Report

log = logging.getLogger(__name__)

BATCH = 500
"""Reports filed in one transaction. Own choice."""

LOOK_AGAIN_S = 5.0
"""How often the queue is looked at unasked: other processes store reports too [s]."""

_REPORT = TypeAdapter(Report)


@dataclass(frozen=True, slots=True)
class Filed:
    """What filing a batch gave."""

    reports: int
    packs: frozenset[int]
    laptops: frozenset[int]


class Filing:
    """Files what intake stored, in the background."""

    def __init__(self, services: Services, on_filed: Callable[[Filed], None]) -> None:
        self._services = services
        self._on_filed = on_filed
        self._wake = asyncio.Event()
        self._closing = False

    def wake(self) -> None:
        """Say that there is something to file."""
        self._wake.set()

    def close(self) -> None:
        """End ``run`` after the batch in hand; the rest waits in the store."""
        self._closing = True
        self._wake.set()

    async def run(self) -> None:
        """File until closed."""
        while not self._closing:
            self._wake.clear()
            try:
                filed = await file_waiting(self._services)
            except StoreTrouble:
                log.exception("reports could not be filed; trying again")
                filed = None
            if filed and filed.reports:
                self._on_filed(filed)
                continue
            try:
                async with asyncio.timeout(LOOK_AGAIN_S):
                    await self._wake.wait()
            except TimeoutError:
                continue


async def file_waiting(services: Services, limit: int = BATCH) -> Filed:
    """File the reports that wait longest, in the order they were measured."""
    now = services.clock()
    async with services.store.writing() as connection:
        waiting = await intake.waiting_reports(connection, limit)
        if not waiting:
            return Filed(0, frozenset(), frozenset())
        readable: list[tuple[StoredReport, Report]] = []
        for stored in waiting:
            try:
                readable.append((stored, _REPORT.validate_json(stored.body)))
            except ValidationError as problem:
                log.warning("report %s cannot be filed", stored.report_id)
                await intake.set_aside(
                    connection, stored.report_id, str(problem)[:2000], now
                )
        packs: set[int] = set()
        if readable:
            desk = await rows.load_desk(
                connection,
                {stored.laptop_id for stored, _ in readable},
                _identities(readable),
                _laptops_with_weak_packs(readable),
            )
            timed = [
                (
                    believable_moment(report.measured_at, stored.received_at),
                    stored,
                    report,
                )
                for stored, report in readable
            ]
            for at, stored, report in sorted(timed, key=lambda item: item[0]):
                desk.file(stored.laptop_id, report, at)
            packs = await rows.save_desk(connection, desk)
            await refresh_terms(connection, desk.laptops)
            await _raise_events(connection, desk, now)
        # Here and not with intake, whose commits would then wait for this transaction.
        await intake.note_contact(
            connection, {stored.laptop_id: stored.received_at for stored in waiting}
        )
        await intake.leave_queue(connection, [stored.queue_id for stored in waiting])
    return Filed(
        len(waiting),
        frozenset(packs),
        frozenset(stored.laptop_id for stored in waiting),
    )


async def _raise_events(connection: WriteConnection, desk: Desk, now: datetime) -> None:
    """Tell people of hardware that changed and of identities that clash."""
    names = await rows.laptop_names(
        connection,
        {laptop_id for laptop_id, _, _ in desk.changes}
        | {place[0] for clash in desk.clashes for place in (clash.place, clash.other)},
    )
    changes: dict[tuple[int, datetime], list[Change]] = defaultdict(list)
    for laptop_id, at, change in desk.changes:
        changes[laptop_id, at].append(change)
    for (laptop_id, at), found in changes.items():
        subject = Subject(laptop_id, None, names[laptop_id].site)
        await raise_event(connection, subject, hardware_finding(found, at), now)
    for clash in desk.clashes:
        laptop_id, slot = clash.place
        other = names[clash.other[0]].name
        subject = Subject(laptop_id, None, names[laptop_id].site)
        await raise_event(connection, subject, clash_finding(other, slot), now)


def _identities(batch: list[tuple[StoredReport, Report]]) -> set[str]:
    """Return every identity the batch's packs may be stored under."""
    found: set[str] = set()
    for stored, report in batch:
        for pack in report.packs:
            identity = pack_identity(pack)
            if identity is not None:
                place = (stored.laptop_id, pack.slot)
                found |= {identity, scoped_identity(place, identity)}
    return found


def _laptops_with_weak_packs(batch: list[tuple[StoredReport, Report]]) -> set[int]:
    return {
        stored.laptop_id
        for stored, report in batch
        if any(pack_identity(pack) is None for pack in report.packs)
    }
