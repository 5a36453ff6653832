"""Reports become durable in groups, once each."""

import asyncio
from collections.abc import AsyncIterator
from datetime import timedelta

import pytest
from sqlalchemy import func, select, text

from fadewatch_collector.errors import QueueFull
from fadewatch_collector.store.tables import filing_queue, reports
from fadewatch_collector.usecases.enrolment import enrol, make_token
from fadewatch_collector.usecases.intake import Intake, ReceivedReport
from fadewatch_collector.usecases.services import Services
from tests.integration.postgres import DATABASES
from tests.reports import AGENT, LAPTOP, START, make_report, received

ON = DATABASES


@pytest.fixture
async def laptop_id(services: Services) -> int:
    token = await make_token(
        services,
        label="test",
        site=None,
        lifetime=timedelta(days=1),
        use_limit=1,
        who="test",
    )
    return (await enrol(services, token, LAPTOP, AGENT)).laptop_id


@pytest.fixture
async def intake(services: Services) -> AsyncIterator[Intake]:
    writer = Intake(services, lambda: None)
    async with asyncio.TaskGroup() as group:
        group.create_task(writer.run())
        yield writer
        writer.close()


def some(count: int) -> list[ReceivedReport]:
    return [
        received(make_report(START + timedelta(minutes=minute)))
        for minute in range(count)
    ]


async def count(services: Services, table: object) -> int:
    async with services.store.reading() as connection:
        found = await connection.scalar(select(func.count()).select_from(table))  # type: ignore[arg-type]  # any table
    return found or 0


async def test_a_report_answered_stored_is_in_the_store_and_queued(
    services: Services, intake: Intake, laptop_id: int
) -> None:
    answers = await intake.store(laptop_id, some(3))

    assert [answer.status for answer in answers] == ["stored"] * 3
    assert await count(services, reports) == 3
    assert await count(services, filing_queue) == 3


async def test_the_same_report_again_is_a_duplicate(
    services: Services, intake: Intake, laptop_id: int
) -> None:
    batch = some(2)
    await intake.store(laptop_id, batch)

    again = await intake.store(laptop_id, batch)

    assert [answer.status for answer in again] == ["duplicate", "duplicate"]
    assert await count(services, reports) == 2
    assert await count(services, filing_queue) == 2


async def test_one_report_twice_in_a_request_is_stored_once(
    services: Services, intake: Intake, laptop_id: int
) -> None:
    (report,) = some(1)

    answers = await intake.store(laptop_id, [report, report])

    assert [answer.status for answer in answers] == ["stored", "duplicate"]
    assert await count(services, reports) == 1


async def test_retries_at_the_same_moment_store_once(
    services: Services, intake: Intake, laptop_id: int
) -> None:
    (report,) = some(1)

    answers = await asyncio.gather(
        *(intake.store(laptop_id, [report]) for _ in range(20))
    )

    statuses = [answer.status for (answer,) in answers]
    assert sorted(statuses) == ["duplicate"] * 19 + ["stored"]
    assert await count(services, reports) == 1


async def test_requests_that_wait_together_share_a_commit(
    services: Services, laptop_id: int
) -> None:
    wakes: list[int] = []
    writer = Intake(services, lambda: wakes.append(1))
    batch = some(300)
    requests = [
        asyncio.ensure_future(writer.store(laptop_id, [report])) for report in batch
    ]
    await asyncio.sleep(0)
    writer.close()
    await writer.run()
    await asyncio.gather(*requests)

    assert await count(services, reports) == 300
    assert len(wakes) == 1


async def test_a_full_queue_asks_to_come_back_and_keeps_what_it_has(
    services: Services, laptop_id: int
) -> None:
    settings = services.settings.model_copy(update={"intake_queue": 3})
    small = Services(services.store, settings, services.policy, services.clock)
    writer = Intake(small, lambda: None)
    first = asyncio.ensure_future(writer.store(laptop_id, some(3)))
    await asyncio.sleep(0)

    with pytest.raises(QueueFull) as refusal:
        await writer.store(laptop_id, some(1))
    writer.close()
    await writer.run()

    assert refusal.value.retry_after_s > 0
    assert len(await first) == 3
    assert writer.depth == 0


async def test_a_request_larger_than_an_empty_queue_still_gets_in(
    services: Services, laptop_id: int
) -> None:
    settings = services.settings.model_copy(update={"intake_queue": 3})
    writer = Intake(
        Services(services.store, settings, services.policy, services.clock),
        lambda: None,
    )
    request = asyncio.ensure_future(writer.store(laptop_id, some(10)))
    await asyncio.sleep(0)
    writer.close()
    await writer.run()

    assert len(await request) == 10


async def test_a_request_the_store_refuses_does_not_cost_its_neighbours(
    services: Services, laptop_id: int
) -> None:
    writer = Intake(services, lambda: None)
    good = asyncio.ensure_future(writer.store(laptop_id, some(1)))
    nobody = asyncio.ensure_future(writer.store(999_999, some(1)))
    await asyncio.sleep(0)
    writer.close()
    await writer.run()

    outcome = await asyncio.gather(good, nobody, return_exceptions=True)

    assert isinstance(outcome[0], list)
    assert isinstance(outcome[1], Exception)
    assert await count(services, reports) == 1


async def test_a_client_that_hangs_up_does_not_lose_its_report(
    services: Services, laptop_id: int
) -> None:
    writer = Intake(services, lambda: None)
    request = asyncio.ensure_future(writer.store(laptop_id, some(1)))
    await asyncio.sleep(0)
    request.cancel()
    writer.close()
    await writer.run()

    assert await count(services, reports) == 1


async def test_a_store_that_cannot_write_asks_to_come_back(
    services: Services, intake: Intake, laptop_id: int, database: str
) -> None:
    await break_store(services, database)

    with pytest.raises(QueueFull):
        await intake.store(laptop_id, some(1))

    await mend_store(services, database)
    (answer,) = await intake.store(laptop_id, some(1))
    assert answer.status == "stored"


async def break_store(services: Services, database: str) -> None:
    """Let writing fail as it does on a full disk, or on a server that stands by."""
    if database == "sqlite":
        await run_sql(services, "ALTER TABLE reports RENAME TO elsewhere")
    else:
        await run_sql(
            services,
            "DO $$ BEGIN EXECUTE format('ALTER DATABASE %I SET "
            "default_transaction_read_only = on', current_database()); END $$",
        )
        await services.store.close()


async def mend_store(services: Services, database: str) -> None:
    if database == "sqlite":
        await run_sql(services, "ALTER TABLE elsewhere RENAME TO reports")
    else:
        await run_sql(
            services,
            "SET TRANSACTION READ WRITE",
            "DO $$ BEGIN EXECUTE format('ALTER DATABASE %I RESET "
            "default_transaction_read_only', current_database()); END $$",
        )
        await services.store.close()


async def run_sql(services: Services, *statements: str) -> None:
    async with services.store.writing() as connection:
        for statement in statements:
            await connection.execute(text(statement))


async def test_after_closing_nothing_more_is_taken(
    intake: Intake, laptop_id: int
) -> None:
    intake.close()

    with pytest.raises(QueueFull):
        await intake.store(laptop_id, some(1))
