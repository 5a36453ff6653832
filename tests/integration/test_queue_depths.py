"""What waits in the store is counted, with since when."""

import asyncio
from datetime import timedelta

from sqlalchemy import insert

from fadewatch_collector.store.queues import Depth, QueueDepths, queue_depths
from fadewatch_collector.store.tables import assessment_queue, packs
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.intake import Intake
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.fleet import new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import make_report, received

ON = DATABASES
NOTHING = Depth(0, None)


async def depths(services: Services) -> QueueDepths:
    async with services.store.reading() as connection:
        return await queue_depths(connection)


async def test_nothing_waits_in_an_empty_store(services: Services) -> None:
    assert await depths(services) == QueueDepths(NOTHING, NOTHING, NOTHING)


async def test_stored_reports_wait_since_the_first_was_received(
    services: Services, clock: StandingClock
) -> None:
    laptop_id = await new_laptop(services)
    first = clock()
    for _ in range(2):
        intake = Intake(services, lambda: None)
        stored = asyncio.ensure_future(
            intake.store(laptop_id, [received(make_report())])
        )
        await asyncio.sleep(0)
        intake.close()
        await intake.run()
        await stored
        clock.move(timedelta(minutes=7))

    assert (await depths(services)).filing == Depth(2, first)
    await file_waiting(services)
    assert (await depths(services)).filing == NOTHING


async def test_packs_that_failed_are_counted_for_themselves(
    services: Services, clock: StandingClock
) -> None:
    now = clock()
    async with services.store.writing() as connection:
        for number in (1, 2, 3):
            await connection.execute(
                insert(packs).values(
                    id=number, unit="mWh", first_seen_at=now, last_seen_at=now
                )
            )
            await connection.execute(
                insert(assessment_queue).values(
                    pack_id=number,
                    asked_at=now + number * timedelta(hours=1),
                    due_at=now,
                    failures=int(number == 1),
                )
            )

    found = await depths(services)

    assert found.assessment == Depth(2, now + timedelta(hours=2))
    assert found.set_aside == Depth(1, now + timedelta(hours=1))
    assert len(await rows(services, packs.select())) == 3
