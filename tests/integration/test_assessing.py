"""Packs wait for their assessment in the store: each once, none lost, none in a loop."""

import asyncio
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import delete, select, text

from fadewatch_collector.store.assessment_queue import (
    FIRST_PAUSE,
    LEASE,
    LONGEST_PAUSE,
    ask_assessment,
    claim_packs,
    done_with,
)
from fadewatch_collector.store.queues import QueueDepths, queue_depths
from fadewatch_collector.store.tables import (
    assessment_queue,
    assessments,
    filing_queue,
    packs,
    readings,
    unreadable_reports,
)
from fadewatch_collector.usecases.assess import assess_packs
from fadewatch_collector.usecases.assessing import Assessor, assess_all, assess_waiting
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, deliver, keep, new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import PACK, START, make_report, received

ON = DATABASES
REFUSING = {
    # What no assessment and no reading of a marked row gets past, on either engine.
    "sqlite": (
        (
            "CREATE TRIGGER refuse BEFORE INSERT ON {table} WHEN NEW.{column} = {value} "
            "BEGIN SELECT RAISE(ABORT, 'this row is refused'); END"
        ),
    ),
    "postgresql": (
        (
            "CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'this row is refused'; END $$"
        ),
        (
            "CREATE TRIGGER refuse BEFORE INSERT ON {table} FOR EACH ROW "
            "WHEN (NEW.{column} = {value}) EXECUTE FUNCTION refuse()"
        ),
    ),
}


async def refuse(services: Services, database: str, **names: str) -> None:
    async with services.store.writing() as connection:
        for statement in REFUSING[database]:
            await connection.execute(text(statement.format(**names)))


async def some_packs(services: Services, count: int) -> list[int]:
    """File reports of so many packs, one a laptop; return their numbers."""
    for number in range(count):
        laptop_id = await new_laptop(services, f"BM-{number}")
        pack = replace(PACK, serial=f"71{number:03}")
        await deliver(services, laptop_id, [make_report(packs=(pack,))])
    return [n for (n,) in await rows(services, select(packs.c.id).order_by(packs.c.id))]


async def assessed(services: Services) -> set[int]:
    return {n for (n,) in await rows(services, select(assessments.c.pack_id))}


async def depths(services: Services) -> QueueDepths:
    async with services.store.reading() as connection:
        return await queue_depths(connection)


async def test_a_pack_that_was_read_often_waits_once(services: Services) -> None:
    laptop_id = await new_laptop(services)
    for n in range(3):
        await deliver(services, laptop_id, [make_report(START + n * DAY)])

    assert await rows(services, select(assessment_queue.c.asks)) == [(3,)]
    assert await assess_waiting(services) == 1
    assert await assess_waiting(services) == 0
    assert len(await assessed(services)) == 1


async def test_what_is_read_while_a_pack_is_assessed_makes_it_wait_again(
    services: Services, clock: StandingClock
) -> None:
    laptop_id = await new_laptop(services)
    await deliver(services, laptop_id, [make_report(START)])

    claimed = await claim_packs(services.store, 10, clock())
    await assess_packs(services, sorted(claimed))
    await deliver(services, laptop_id, [make_report(START + DAY)])
    async with services.store.writing() as connection:
        await done_with(connection, claimed, clock())

    assert await rows(services, select(assessments.c.readings)) == [(1,)]
    assert await assess_waiting(services) == 1
    assert await rows(services, select(assessments.c.readings)) == [(2,)]
    assert await rows(services, select(assessment_queue)) == []


async def test_several_collectors_assess_each_pack_once(services: Services) -> None:
    numbers = await some_packs(services, 7)

    async def work() -> int:
        count = 0
        while taken := await assess_waiting(services, 2):
            count += taken
        return count

    if services.store.is_sqlite:
        counts = [await work()]
    else:
        counts = await asyncio.gather(*(work() for _ in range(3)))

    assert sum(counts) == 7
    assert await assessed(services) == set(numbers)
    assert await rows(services, select(assessment_queue)) == []


async def test_what_a_dead_collector_had_claimed_is_taken_by_another(
    services: Services, clock: StandingClock
) -> None:
    numbers = await some_packs(services, 3)
    claimed = await claim_packs(services.store, 2, clock())
    assert set(claimed) == set(numbers[:2])

    # The one that claimed is never heard of again.
    if services.store.is_sqlite:
        assert await assess_waiting(services) == 3
    else:
        assert await assess_waiting(services) == 1
        clock.move(LEASE)
        assert await assess_waiting(services) == 2
    assert await assessed(services) == set(numbers)
    assert await rows(services, select(assessment_queue)) == []


async def test_a_pack_that_cannot_be_assessed_is_put_off_and_blocks_no_other(
    services: Services, clock: StandingClock, database: str
) -> None:
    numbers = await some_packs(services, 5)
    bad = numbers[2]
    await refuse(
        services, database, table="assessments", column="pack_id", value=str(bad)
    )

    assert await assess_waiting(services) == 5
    assert await assessed(services) == set(numbers) - {bad}
    assert await assess_waiting(services) == 0
    found = await depths(services)
    assert (found.assessment.count, found.set_aside.count) == (0, 1)
    ((reason,),) = await rows(services, select(assessment_queue.c.problem))
    assert "this row is refused" in reason

    pauses = []
    for _ in range(14):
        ((due_at,),) = await rows(services, select(assessment_queue.c.due_at))
        pauses.append(due_at - clock())
        clock.now = due_at
        assert await assess_waiting(services) == 1
    assert pauses[:3] == [FIRST_PAUSE, 2 * FIRST_PAUSE, 4 * FIRST_PAUSE]
    assert pauses[-1] == LONGEST_PAUSE

    async with services.store.writing() as connection:
        trigger = "refuse" if database == "sqlite" else "refuse ON assessments"
        await connection.execute(text(f"DROP TRIGGER {trigger}"))
    clock.move(LONGEST_PAUSE)
    assert await assess_waiting(services) == 1
    assert await assessed(services) == set(numbers)
    assert await rows(services, select(assessment_queue)) == []


async def test_a_night_goes_on_past_a_pack_that_cannot_be_assessed(
    services: Services, clock: StandingClock, database: str
) -> None:
    numbers = await some_packs(services, 5)
    bad = numbers[2]
    await refuse(
        services, database, table="assessments", column="pack_id", value=str(bad)
    )
    async with services.store.writing() as connection:
        await connection.execute(delete(assessment_queue))

    assert await assess_all(services) == 5

    assert await assessed(services) == set(numbers) - {bad}
    waiting = await rows(
        services, select(assessment_queue.c.pack_id, assessment_queue.c.due_at)
    )
    assert waiting == [(bad, clock() + FIRST_PAUSE)]


async def test_a_new_reading_does_not_hurry_a_pack_that_was_put_off(
    services: Services, clock: StandingClock, database: str
) -> None:
    (bad,) = await some_packs(services, 1)
    await refuse(
        services, database, table="assessments", column="pack_id", value=str(bad)
    )
    await assess_waiting(services)
    async with services.store.writing() as connection:
        await ask_assessment(connection, [bad], clock())

    assert await assess_waiting(services) == 0
    clock.move(FIRST_PAUSE)
    assert await assess_waiting(services) == 1


@pytest.mark.parametrize("bad", [0, 4, 8])
async def test_a_report_that_cannot_be_filed_is_set_aside_and_blocks_no_other(
    services: Services, database: str, bad: int
) -> None:
    laptop_id = await new_laptop(services)
    batch = [received(make_report(START + n * timedelta(hours=1))) for n in range(9)]
    await refuse(
        services,
        database,
        table="readings",
        column="report_id",
        value=f"'{batch[bad].report_id}'",
    )
    await keep(services, laptop_id, batch)

    while (await file_waiting(services)).reports:
        pass

    assert await rows(services, select(filing_queue)) == []
    assert len(await rows(services, select(readings.c.report_id))) == 8
    column = unreadable_reports.c
    ((report_id, problem),) = await rows(
        services, select(column.report_id, column.problem)
    )
    assert report_id == batch[bad].report_id
    assert "this row is refused" in problem


async def test_an_assessor_that_gives_way_gets_on_all_the_same(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fadewatch_collector.usecases.assessing.WAY_S", 0.01)
    numbers = await some_packs(services, 2)
    done = asyncio.Event()
    asked: list[int] = []

    def gives_way() -> bool:
        asked.append(1)
        return True

    assessor = Assessor(services, done.set, gives_way)
    running = asyncio.create_task(assessor.run())
    async with asyncio.timeout(20):
        await done.wait()
    assessor.close()
    await running

    assert asked
    assert await assessed(services) == set(numbers)
