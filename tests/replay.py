"""Send a simulated fleet through the collector's HTTP API, in the order of time.

The intake is the service's own; filing and assessing are called when all reports of a
step are in, so that two years pass without a timer.
"""

import asyncio
import gzip
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime, time, timedelta

from sqlalchemy import func, select

from fadewatch_collector.api.setup import DEFAULT_LIMITS, Rate
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.simulation.care.diary import AGENT, Delivery, keep_diary
from fadewatch_collector.simulation.care.fleet import CareFleet
from fadewatch_collector.simulation.care.plan import PlantedSwap
from fadewatch_collector.store.tables import alerts, swaps
from fadewatch_collector.usecases.alerts import look_for_silent
from fadewatch_collector.usecases.assess import assess_packs
from fadewatch_collector.usecases.assessing import assess_all
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import confirm_swap, judge_swaps, reject_swap
from fadewatch_common.encoding import to_json
from tests.fakes.clock import StandingClock
from tests.fleet import technician
from tests.integration.api_service import ApiService, running_api

NO_LIMITS = replace(
    DEFAULT_LIMITS,
    reports=Rate(1e9, 1e9),
    enrolments=Rate(1e9, 1e9),
    operators=Rate(1e9, 1e9),
)
EVENING = time(20)
AT_ONCE = 4
PACKS_AT_ONCE = 500
DECIDED_AFTER = timedelta(days=6)


@dataclass(frozen=True, slots=True)
class AlertEvent:
    """An alert that opened (or opened again) or ended."""

    subject: str
    kind: str
    opened: bool
    at: datetime


@dataclass(slots=True)
class Replayed:
    """What was seen on the way."""

    planted: list[PlantedSwap] = field(default_factory=list)
    numbers: dict[int, int] = field(default_factory=dict)
    events: list[AlertEvent] = field(default_factory=list)
    most_of_a_kind: int = 0
    reports: int = 0
    requests: int = 0


async def replay(
    services: Services,
    clock: StandingClock,
    fleet: CareFleet,
    *,
    seed: int,
    step_days: int = 1,
) -> Replayed:
    """Bring a fleet's two years through the API and return what was seen."""
    seen = Replayed()
    days: dict[int, list[Delivery]] = defaultdict(list)
    for laptop in fleet.laptops:
        diary = keep_diary(fleet, laptop, seed)
        seen.planted += diary.swaps
        for delivery in diary.deliveries:
            days[delivery.day].append(delivery)
    clock.now = datetime.combine(fleet.start - timedelta(days=1), EVENING, UTC)
    pat = await technician(services)
    async with running_api(services, NO_LIMITS) as api:
        run = _Run(services, clock, api, seen, pat)
        await run.enrol(fleet)
        last = max(max(days, default=0), fleet.days - 1)
        for day in range(last + 1):
            clock.now = datetime.combine(
                fleet.start + timedelta(days=day), EVENING, UTC
            )
            await run.deliver(days.pop(day, []))
            if day % step_days == 0 or day == last:
                await run.work()
            if day % 7 == 0:
                await run.night()
    return seen


class _Run:
    def __init__(
        self,
        services: Services,
        clock: StandingClock,
        api: ApiService,
        seen: Replayed,
        operator: Operator,
    ) -> None:
        self._services = services
        self._clock = clock
        self._api = api
        self._seen = seen
        self._operator = operator
        self._keys: dict[int, str] = {}
        self._known: dict[int, tuple[bool, int]] = {}

    async def enrol(self, fleet: CareFleet) -> None:
        token = await self._api.token(uses=len(fleet.laptops))
        for laptop in fleet.laptops:
            body = {
                "token": token,
                "laptop": {k: v for k, v in asdict(laptop.laptop).items() if v},
                "agent": asdict(AGENT),
            }
            answer = await self._api.ask("POST", "/enrol", json=body)
            assert answer.status == 201, answer.body
            self._keys[laptop.number] = answer.json["key"]
            self._seen.numbers[answer.json["laptop_id"]] = laptop.number

    async def deliver(self, deliveries: Sequence[Delivery]) -> None:
        """Send a day's deliveries, some laptops at a time, each in its order."""
        by_laptop: dict[int, list[Delivery]] = defaultdict(list)
        for delivery in deliveries:
            by_laptop[delivery.laptop].append(delivery)
        gate = asyncio.Semaphore(AT_ONCE)
        async with asyncio.TaskGroup() as group:
            for number, parts in by_laptop.items():
                group.create_task(self._send(gate, number, parts))

    async def _send(
        self, gate: asyncio.Semaphore, number: int, parts: Sequence[Delivery]
    ) -> None:
        async with gate:
            for part in parts:
                texts = ",".join(to_json(report) for report in part.reports)
                answer = await self._api.ask(
                    "POST",
                    "/reports",
                    self._keys[number],
                    data=gzip.compress(f'{{"reports": [{texts}]}}'.encode(), 1),
                    headers={
                        "Content-Type": "application/json",
                        "Content-Encoding": "gzip",
                    },
                )
                assert answer.status == 200, answer.body
                results = answer.json["results"]
                assert all(r["status"] != "rejected" for r in results), results
                self._seen.reports += sum(r["status"] == "stored" for r in results)
                self._seen.requests += 1

    async def work(self) -> None:
        """File what came, assess what was read, and note what became of alerts."""
        packs: set[int] = set()
        while (filed := await file_waiting(self._services)).reports:
            packs |= filed.packs
        for first in range(0, len(packs), PACKS_AT_ONCE):
            part = sorted(packs)[first : first + PACKS_AT_ONCE]
            await assess_packs(self._services, part)
            await judge_swaps(self._services, part)
        await self._note_alerts()

    async def night(self) -> None:
        """Do what the clock does at night, and what a technician does by day."""
        await assess_all(self._services)
        await look_for_silent(self._services)
        await self._decide()
        await self._note_alerts()

    async def _decide(self) -> None:
        query = select(swaps.c.id, swaps.c.wrong).where(
            swaps.c.state == "to confirm", swaps.c.at < self._clock() - DECIDED_AFTER
        )
        async with self._services.store.reading() as connection:
            waiting = (await connection.execute(query)).all()
        for number, wrong in waiting:
            # Every fifth is left open, and half of the wrong ones.
            if not wrong and number % 5:
                await confirm_swap(
                    self._services, number, self._operator, swollen=False
                )
            elif wrong and number % 2:
                await reject_swap(self._services, number, self._operator)

    async def _note_alerts(self) -> None:
        column = alerts.c
        changed = select(
            column.id, column.subject, column.kind, column.state, column.reopened
        ).order_by(column.id)
        live = (
            select(func.count(column.id).label("count"))
            .where(column.state != "ended")
            .group_by(column.subject, column.kind)
            .subquery()
        )
        async with self._services.store.reading() as connection:
            rows = (await connection.execute(changed)).all()
            most = await connection.scalar(select(func.max(live.c.count)))
        self._seen.most_of_a_kind = max(self._seen.most_of_a_kind, most or 0)
        now = self._clock()
        for row in rows:
            was_live, reopened = self._known.get(row.id, (False, -1))
            is_live = row.state != "ended"
            if row.reopened > reopened:
                if was_live:
                    self._note(row, now, opened=False)
                self._note(row, now, opened=True)
                was_live = True
            if was_live and not is_live:
                self._note(row, now, opened=False)
            self._known[row.id] = is_live, row.reopened

    def _note(self, row: object, now: datetime, *, opened: bool) -> None:
        subject, kind = row.subject, row.kind  # type: ignore[attr-defined]  # a row
        self._seen.events.append(AlertEvent(subject, kind, opened, now))
