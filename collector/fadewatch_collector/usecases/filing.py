"""File stored reports into packs, readings, slots and inventory.

Filing runs behind intake and picks up where it stopped: what waits stands in the
store's queue, and a batch leaves the queue in the transaction that files it. Any
collector files; `store.filing_claims` says how they keep out of each other's way.
"""

import asyncio
import logging
from collections import defaultdict
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime

from pydantic import TypeAdapter, ValidationError

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.rules.desk import Desk, scoped_identity
from fadewatch_collector.rules.desk_changes import desk_before, laptops_found_anew
from fadewatch_collector.rules.event_findings import clash_finding, hardware_finding
from fadewatch_collector.rules.identity import pack_identity
from fadewatch_collector.rules.inventory import Change
from fadewatch_collector.rules.moments import believable_moment
from fadewatch_collector.store import filed as writes
from fadewatch_collector.store import filing as rows
from fadewatch_collector.store import intake
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.assessment_queue import ask_assessment
from fadewatch_collector.store.filing_claims import (
    Claim,
    StoredReport,
    claimed_reports,
    hold_packs,
    leave_queue,
)
from fadewatch_collector.store.search import refresh_terms
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.alerts import end_silence, raise_event
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.wakeful import Wakeful
from fadewatch_common.report import Report

log = logging.getLogger(__name__)

BATCH = 500
"""Reports filed in one transaction. Own choice."""

SQLITE_BATCH = 100
"""The same on SQLite, where intake's commits wait for it. Own choice."""

AT_ONCE = 20
"""Reports read or put on the desk before the event loop gets a turn: a few
milliseconds, which intake's answers wait. Own choice."""

LOOK_AGAIN_S = 5.0
"""How often the queue is looked at unasked: other processes store reports too [s]."""

GATHER_S = 0.5
"""How long reports gather when few were filed: a batch of a few takes nearly as long as
one of a hundred [s]. What comes after a rest is filed at once. Own choice."""

PROBLEM_LENGTH = 2_000
"""Most that is kept of the reason why a report cannot be filed [characters]."""

_REPORT = TypeAdapter(Report)


@dataclass(frozen=True, slots=True)
class Filed:
    """What filing a batch gave."""

    reports: int
    packs: frozenset[int] = frozenset()
    laptops: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class _Readable:
    """A report that could be read, and the moment it is believed to be of."""

    stored: StoredReport
    report: Report
    at: datetime


class Filing:
    """Files what intake stored, in the background."""

    def __init__(self, services: Services, on_filed: Callable[[], None]) -> None:
        self._services = services
        self._on_filed = on_filed
        self._batch = SQLITE_BATCH if services.store.is_sqlite else BATCH
        self._rests = Wakeful()
        self._last = 0

    @property
    def is_behind(self) -> bool:
        """Say whether more waited than a batch holds, when it was last looked."""
        return self._last >= self._batch

    def wake(self) -> None:
        """Say that there is something to file."""
        self._rests.wake()

    def close(self) -> None:
        """End ``run`` after the batch in hand; the rest waits in the store."""
        self._rests.close()

    async def run(self) -> None:
        """File until closed."""
        while not self._rests.is_closed:
            count = self._last = await self._file()
            if not count:
                await self._rests.rest(LOOK_AGAIN_S)
            elif count < self._batch:
                await self._rests.gather(GATHER_S)

    async def _file(self) -> int:
        try:
            filed = await file_waiting(self._services, self._batch)
        except StoreTrouble:
            log.exception("reports could not be filed; trying again")
            return 0
        if filed.reports:
            self._on_filed()
        return filed.reports


async def file_waiting(services: Services, limit: int = BATCH) -> Filed:
    """File the reports that wait longest, in the order they were measured.

    A batch that cannot be filed is tried in halves; a report that cannot be filed
    alone is set aside with the reason, so that it does not keep the others waiting.
    """
    claim: Claim | None = None
    try:
        async with claimed_reports(services.store, limit) as claim:
            return await _file(services, claim)
    except StoreTrouble:
        raise
    except Exception as problem:
        if claim is None or not claim.reports:
            raise
        log.exception("%d reports could not be filed together", len(claim.reports))
        if len(claim.reports) > 1:
            return await file_waiting(services, len(claim.reports) // 2)
        (stored,) = claim.reports
        await _set_aside(services, stored, problem)
        return Filed(1, laptops=frozenset({stored.laptop_id}))


async def _file(services: Services, claim: Claim) -> Filed:
    if not claim.reports:
        return Filed(0)
    now = services.clock()
    readable, unreadable = await _read(claim.reports)
    laptops = {one.stored.laptop_id for one in readable}
    async with claim.reading() as connection:
        desk = await _load(connection, readable, laptops)
    before = desk_before(desk)
    for place, one in enumerate(sorted(readable, key=lambda one: one.at)):
        desk.file(one.stored.laptop_id, one.report, one.at)
        if place % AT_ONCE == 0:
            await asyncio.sleep(0)
    async with claim.writing() as connection:
        packs = await writes.save_desk(connection, desk, before)
        await refresh_terms(connection, laptops_found_anew(desk, before))
        await ask_assessment(connection, packs, now)
        for stored, problem in unreadable:
            await intake.set_aside(connection, stored.report_id, problem, now)
        await leave_queue(connection, [one.queue_id for one in claim.reports])
        await _raise_events(connection, desk, now)
        heard = {one.laptop_id: one.received_at for one in claim.reports}
        await end_silence(connection, heard, now)
        await writes.save_laptops(connection, desk, heard)
    return Filed(len(claim.reports), frozenset(packs), frozenset(laptops))


async def _read(
    waiting: Collection[StoredReport],
) -> tuple[list[_Readable], list[tuple[StoredReport, str]]]:
    """Read stored reports; those that cannot be read come back with the reason."""
    readable: list[_Readable] = []
    unreadable: list[tuple[StoredReport, str]] = []
    for place, stored in enumerate(waiting):
        try:
            report = _REPORT.validate_json(stored.body)
        except ValidationError as problem:
            log.warning("report %s cannot be filed", stored.report_id)
            unreadable.append((stored, str(problem)[:PROBLEM_LENGTH]))
        else:
            at = believable_moment(report.measured_at, stored.received_at)
            readable.append(_Readable(stored, report, at))
        if place % AT_ONCE == 0:
            await asyncio.sleep(0)
    return readable, unreadable


async def _load(
    connection: WriteConnection, batch: list[_Readable], laptops: set[int]
) -> Desk:
    identities, weak_laptops = _identities(batch)
    await hold_packs(connection, laptops, identities)
    return await rows.load_desk(connection, laptops, identities, weak_laptops)


async def _set_aside(
    services: Services, stored: StoredReport, problem: Exception
) -> None:
    said = f"{type(problem).__name__}: {problem}"[:PROBLEM_LENGTH]
    async with services.store.writing() as connection:
        await intake.set_aside(connection, stored.report_id, said, services.clock())
        await leave_queue(connection, [stored.queue_id])


async def _raise_events(connection: WriteConnection, desk: Desk, now: datetime) -> None:
    """Tell people of hardware that changed and of identities that clash."""
    if not desk.changes and not desk.clashes:
        return
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


def _identities(batch: list[_Readable]) -> tuple[set[str], set[int]]:
    """Return every identity the batch's packs may be stored under.

    And the laptops of which a pack tells none.
    """
    found: set[str] = set()
    weak: set[int] = set()
    for one in batch:
        laptop_id = one.stored.laptop_id
        for pack in one.report.packs:
            identity = pack_identity(pack)
            if identity is None:
                weak.add(laptop_id)
            else:
                found |= {identity, scoped_identity((laptop_id, pack.slot), identity)}
    return found, weak
