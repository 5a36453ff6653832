"""An alert's life against the real store, whatever order things happen in."""

import asyncio
from collections.abc import Awaitable, Callable, Coroutine, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, TypeVar

import pytest
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import delete, insert, select

from fadewatch_collector.errors import Conflict
from fadewatch_collector.rules.alert_terms import URGENCIES, AlertKind, Urgency
from fadewatch_collector.rules.alerting import REOPENS_WITHIN, Finding
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.store import open_store
from fadewatch_collector.store.tables import (
    alerts,
    audit,
    finding_watches,
    laptops,
    packs,
)
from fadewatch_collector.usecases import alert_actions
from fadewatch_collector.usecases.alerts import apply_findings, raise_event
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import DEFAULT_POLICY
from tests.fakes.clock import StandingClock
from tests.fleet import technician
from tests.integration.postgres import DATABASES

ON = DATABASES
KINDS: tuple[AlertKind, ...] = ("wear-plan", "wear-replace", "inspect")
EVENT: AlertKind = "hardware-changed"
STEPS = 40
EXAMPLES = {"sqlite": 30, "postgresql": 12}
"""Lives tried of each engine; a step takes four times as long on PostgreSQL."""
ACTIONS = ("ended", "acknowledged", "planned", "handed over", "note")
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Row:
    """An alert as it stands in the store."""

    id: int
    subject: str
    kind: AlertKind
    urgency: Urgency
    state: str
    version: int
    reopened: int
    opened_at: datetime
    ended_at: datetime | None
    ended_because: str | None
    ended_by: str | None
    planned_on: object


class Bench:
    """A store with two packs, driven from a loop that the test owns."""

    def __init__(
        self, loop: asyncio.AbstractEventLoop, services: Services, clock: StandingClock
    ) -> None:
        self._loop = loop
        self.services = services
        self.clock = clock
        self.pat = self.run(technician(services))
        self.subjects = self.run(self._two_packs())

    def run(self, work: Coroutine[Any, Any, Result]) -> Result:
        return self._loop.run_until_complete(work)

    async def _two_packs(self) -> list[Subject]:
        now = self.clock()
        async with self.services.store.writing() as connection:
            laptop = await connection.scalar(
                insert(laptops).values(enrolled_at=now).returning(laptops.c.id)
            )
            rows = [{"unit": "mWh", "first_seen_at": now, "last_seen_at": now}] * 2
            found = await connection.execute(
                insert(packs).returning(packs.c.id), list(rows)
            )
            return [Subject(laptop, number, "North") for number in found.scalars()]

    async def clear(self) -> None:
        async with self.services.store.writing() as connection:
            for table in (alerts, finding_watches, audit):
                await connection.execute(delete(table))

    async def apply(self, subject: Subject, findings: list[Finding]) -> None:
        async with self.services.store.writing() as connection:
            await apply_findings(connection, {subject: findings}, KINDS, self.clock())

    async def raise_event(self, subject: Subject) -> None:
        async with self.services.store.writing() as connection:
            await raise_event(connection, subject, finding(EVENT, "note"), self.clock())

    async def rows(self) -> dict[int, Row]:
        columns = [alerts.c[name] for name in Row.__slots__]
        async with self.services.store.reading() as connection:
            found = await connection.execute(select(*columns).order_by(alerts.c.id))
            return {row.id: Row(*row) for row in found}

    async def trail(self) -> list[tuple[str, str, str]]:
        query = select(audit.c.subject, audit.c.who, audit.c.action)
        async with self.services.store.reading() as connection:
            found = await connection.execute(query.order_by(audit.c.id))
            return [(row.subject, row.who, row.action) for row in found]


def finding(kind: AlertKind, urgency: Urgency) -> Finding:
    return Finding(
        kind=kind, urgency=urgency, reasons=("Seen.",), next_step="Look at it."
    )


class AlertLife(RuleBasedStateMachine):
    """Findings come and go, people act, time passes."""

    bench: Bench

    def __init__(self) -> None:
        super().__init__()
        self.bench.run(self.bench.clear())
        self.found: dict[tuple[int, AlertKind], Urgency] = {}
        self.done: list[tuple[str, str, str]] = []
        self.before: dict[int, Row] = {}

    @property
    def pat(self) -> Operator:
        return self.bench.pat

    @rule(
        pack=st.integers(0, 1),
        kind=st.sampled_from(KINDS),
        urgency=st.sampled_from(URGENCIES),
    )
    def a_finding_comes(self, pack: int, kind: AlertKind, urgency: Urgency) -> None:
        self.found[pack, kind] = urgency
        self._assess(pack)

    @precondition(lambda self: self.found)
    @rule(data=st.data())
    def a_finding_goes(self, data: st.DataObject) -> None:
        pack, kind = data.draw(st.sampled_from(sorted(self.found)))
        del self.found[pack, kind]
        self._assess(pack)

    @rule(hours=st.sampled_from((4 * 24, 1, 24, 22 * 24, 31 * 24)))
    def time_passes(self, hours: int) -> None:
        self.bench.clock.move(timedelta(hours=hours))
        for pack in (0, 1):
            self._assess(pack)

    @rule(pack=st.integers(0, 1))
    def something_happens_to_a_laptop(self, pack: int) -> None:
        self.bench.run(self.bench.raise_event(self.bench.subjects[pack]))

    @precondition(lambda self: self.live())
    @rule(data=st.data(), action=st.sampled_from(ACTIONS))
    def a_person_acts(self, data: st.DataObject, action: str) -> None:
        self._succeeds(data, action)

    @precondition(lambda self: self.live())
    @rule(data=st.data())
    def a_person_ends_one(self, data: st.DataObject) -> None:
        self._succeeds(data, "ended")
        for pack in (0, 1):
            self._assess(pack)

    def _succeeds(self, data: st.DataObject, action: str) -> None:
        row = self.before[data.draw(st.sampled_from(self.live()))]

        self.bench.run(self._act(action, row.id, row.version))

        self.done.append((f"alert:{row.id}", "pat", action))
        after = self.bench.run(self.bench.rows())[row.id]
        assert after.version == row.version + (action != "note")
        if action in {"acknowledged", "planned", "ended"}:
            assert after.state == action
        self.before = self.bench.run(self.bench.rows())

    @precondition(lambda self: self.before)
    @rule(data=st.data(), action=st.sampled_from(ACTIONS[:-1]), age=st.integers(0, 2))
    def a_person_is_late(self, data: st.DataObject, action: str, age: int) -> None:
        row = self.before[data.draw(st.sampled_from(sorted(self.before)))]
        age = age if row.state == "ended" else age + 1

        with pytest.raises(Conflict):
            self.bench.run(self._act(action, row.id, row.version - age))

        assert self.bench.run(self.bench.rows()) == self.before

    def live(self) -> list[int]:
        """Return the numbers of the alerts that have not ended."""
        return [row.id for row in self.before.values() if row.state != "ended"]

    async def _act(self, action: str, number: int, version: int) -> None:
        services, pat = self.bench.services, self.pat
        if action == "acknowledged":
            await alert_actions.acknowledge(services, number, version, pat)
        elif action == "planned":
            on = self.bench.clock().date() + timedelta(days=9)
            await alert_actions.plan(services, number, version, pat, on)
        elif action == "handed over":
            await alert_actions.hand_over(services, number, version, pat, "pat")
        elif action == "ended":
            await alert_actions.end(services, number, version, pat, "seen to")
        else:
            await alert_actions.add_note(services, number, pat, "rang the holder")

    def _assess(self, pack: int) -> None:
        findings = [
            finding(kind, urgency)
            for (where, kind), urgency in sorted(self.found.items())
            if where == pack
        ]
        self.bench.run(self.bench.apply(self.bench.subjects[pack], findings))

    @invariant()
    def the_alerts_keep_their_promises(self) -> None:
        now = self.bench.run(self.bench.rows())
        live = [(row.subject, row.kind) for row in now.values() if row.state != "ended"]
        assert len(live) == len(set(live))
        for row in now.values():
            ended = (row.ended_at is not None, row.ended_because is not None)
            assert ended == ((row.state == "ended"),) * 2
            assert (
                row.planned_on is None
                or row.state in {"planned", "ended"}
                or (row.state == "acknowledged")
            )
            self._changed_as_it_may(self.before.get(row.id), row)
        assert self.before.keys() <= now.keys()
        self.before = now

    def _changed_as_it_may(self, before: Row | None, now: Row) -> None:
        if before is None:
            self._is_no_double(now)
            return
        assert now.version >= before.version
        assert now.reopened >= before.reopened
        assert now.opened_at == before.opened_at
        if before.state != now.state:
            assert now.version > before.version
        if now.reopened > before.reopened and before.ended_by is not None:
            worse = URGENCIES.index(now.urgency) < URGENCIES.index(before.urgency)
            assert worse, "what a person ended rests"

    def _is_no_double(self, new: Row) -> None:
        """A matter that returns within 30 days keeps its row."""
        if new.kind == EVENT:
            return
        for old in self.before.values():
            if (old.subject, old.kind) == (new.subject, new.kind):
                assert old.ended_at is not None
                assert self.bench.clock() - old.ended_at > REOPENS_WITHIN

    @invariant()
    def every_action_is_in_the_trail(self) -> None:
        assert self.bench.run(self.bench.trail()) == self.done


@pytest.fixture
def bench(
    new_store: Callable[[], Awaitable[Settings]], clock: StandingClock
) -> Iterator[Bench]:
    """A store in a loop that runs only while a step of the machine does."""
    loop = asyncio.new_event_loop()
    settings = loop.run_until_complete(new_store())
    store = open_store(settings.store_url)
    yield Bench(loop, Services(store, settings, DEFAULT_POLICY, clock), clock)
    loop.run_until_complete(store.close())
    loop.close()


@pytest.mark.timeout(300)  # a broken promise takes a while to be told shortly
def test_alerts_keep_their_promises_whatever_happens(bench: Bench) -> None:
    machine = type("BenchedAlertLife", (AlertLife,), {"bench": bench})

    run_state_machine_as_test(
        machine,
        settings=hypothesis_settings(
            max_examples=EXAMPLES[bench.services.store.engine.dialect.name],
            stateful_step_count=STEPS,
            database=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
