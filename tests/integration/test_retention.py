"""Raw reports and readings go after their time; what they taught stays."""

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from pydantic import ValidationError
from sqlalchemy import Table, event, insert, select

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.tables import (
    alerts,
    daily_capacity,
    daily_charging,
    filing_queue,
    inventory_changes,
    packs,
    readings,
    reports,
    slot_stays,
    swaps,
    unreadable_reports,
)
from fadewatch_collector.usecases.intake import Intake
from fadewatch_collector.usecases.months import keep_months
from fadewatch_collector.usecases.retention import BATCH, clear_out
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import judge_swaps
from fadewatch_common.report import Report
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, deliver, live, new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import PACK, START, make_report, received

ON = DATABASES

LEARNT = (
    packs,
    slot_stays,
    daily_capacity,
    daily_charging,
    inventory_changes,
    alerts,
    swaps,
)
"""What must outlive the raw readings."""

HOUR = timedelta(hours=1)


@pytest.fixture
async def laptop_id(services: Services) -> int:
    return await new_laptop(services)


def kept_for(services: Services, **days: int) -> Services:
    return replace(services, settings=services.settings.model_copy(update=days))


def reading(at: datetime, full: int = 50000) -> Report:
    return make_report(at, (replace(PACK, full_charge_capacity=full),))


async def learnt(services: Services) -> dict[str, list[tuple[Any, ...]]]:
    return {table.name: sorted(await rows(services, select(table))) for table in LEARNT}


async def number_of(services: Services, table: Table) -> int:
    return len(await rows(services, select(table)))


async def night(services: Services) -> None:
    """Do what is done every night."""
    await keep_months(services)
    await clear_out(services)


async def test_raw_reports_and_readings_go_after_400_days_and_their_days_stay(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    for day in range(3):
        await deliver(services, laptop_id, [reading(clock() - HOUR), reading(clock())])
        clock.move((200 if day else 1) * DAY)
    before = await learnt(services)
    assert await number_of(services, reports) == 6

    clock.move(-DAY)
    await night(services)
    assert await number_of(services, reports) == 6

    # Past the 400 days of the first two days, on PostgreSQL past their month too.
    clock.move(35 * DAY)
    await night(services)

    assert await number_of(services, reports) == 2
    assert await number_of(services, readings) == 2
    assert await learnt(services) == before


async def test_kept_for_ever_deletes_nothing(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await deliver(services, laptop_id, [reading(clock())])
    clock.move(4000 * DAY)

    await night(kept_for(services, keep_reports_days=0))

    assert await number_of(services, reports) == 1
    assert await number_of(services, readings) == 1


async def test_daily_values_are_deleted_only_when_it_is_set(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await deliver(services, laptop_id, [reading(clock()), reading(clock() + DAY)])
    clock.move(100 * DAY)

    await night(kept_for(services, keep_daily_days=99))

    left = [((START + 2 * DAY).date(),)]
    assert await rows(services, select(daily_capacity.c.day)) == left
    assert await rows(services, select(daily_charging.c.day)) == left


@pytest.mark.parametrize("name", ["keep_reports_days", "keep_daily_days"])
@pytest.mark.parametrize("days", [-1, 1, 59])
def test_too_short_a_time_is_refused(name: str, days: int) -> None:
    with pytest.raises(ValidationError, match=name):
        Settings.model_validate({name: days})


async def test_what_waits_to_be_filed_or_could_not_be_read_stays(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    async with services.store.writing() as connection:
        for name in ("waits", "unreadable", "filed"):
            await connection.execute(
                insert(reports).values(
                    report_id=name,
                    laptop_id=laptop_id,
                    measured_at=clock(),
                    received_at=clock(),
                    body="{}",
                )
            )
        await connection.execute(
            insert(filing_queue).values(report_id="waits", laptop_id=laptop_id)
        )
        await connection.execute(
            insert(unreadable_reports).values(
                report_id="unreadable", problem="a brace is missing", at=clock()
            )
        )
    clock.move(402 * DAY)

    await night(services)

    left = await rows(services, select(reports.c.report_id))
    assert sorted(left) == [("unreadable",), ("waits",)]


async def test_a_days_kept_value_wins_over_a_report_that_comes_very_late(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    day = clock()
    await deliver(services, laptop_id, [reading(day), reading(day + HOUR, 50400)])
    clock.move(440 * DAY)
    await night(services)
    assert await number_of(services, readings) == 0
    before = await learnt(services)

    await deliver(services, laptop_id, [reading(day + 2 * HOUR, 40000)])

    after = await learnt(services)
    assert after["daily_capacity"] == before["daily_capacity"]
    assert after["daily_charging"] == before["daily_charging"]
    # The late report itself is kept like any other, from its receipt on.
    await night(services)
    assert await number_of(services, reports) == 1


async def test_a_very_late_report_of_a_day_nothing_is_known_of_is_counted(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    """A spool found in a drawer still tells how the pack was."""
    day = clock()
    await deliver(services, laptop_id, [reading(day)])
    clock.move(440 * DAY)
    await night(services)

    for late in (reading(day + DAY, 49000), reading(day + DAY + HOUR, 48000)):
        await deliver(services, laptop_id, [late])
    await night(services)

    column = daily_capacity.c
    assert await rows(
        services, select(column.full_charge_capacity, column.readings)
    ) == [(50000.0, 1), (48500.0, 2)]


async def test_a_report_sent_again_after_it_was_deleted_changes_nothing(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    day = clock()
    first = [reading(day), reading(day + HOUR, 49500), reading(day + DAY, 49000)]
    clock.move(DAY)
    await deliver(services, laptop_id, first)
    clock.move(440 * DAY)
    await deliver(services, laptop_id, [reading(clock(), 45000)])
    await night(services)
    assert await number_of(services, reports) == 1
    before = await learnt(services)

    await deliver(services, laptop_id, first[1:])
    await deliver(services, laptop_id, first[1:])

    assert await learnt(services) == before
    # There once each, whoever sends them again.
    assert await number_of(services, reports) == 3
    assert await number_of(services, readings) == 3


async def test_what_was_said_of_a_swap_stands_when_its_readings_are_gone(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await live(services, laptop_id, reading(clock()))
    clock.move(DAY)
    worn = replace(PACK, serial="90001", full_charge_capacity=40000, cycle_count=300)
    await live(services, laptop_id, make_report(clock(), (worn,)))
    said = await rows(services, select(swaps.c.wrong, swaps.c.remarks))
    assert said != [([], [])]
    clock.move(440 * DAY)
    await night(services)

    later = replace(worn, full_charge_capacity=56900, cycle_count=2)
    await live(services, laptop_id, make_report(clock(), (later,)))
    (swap,) = await rows(services, select(swaps.c.new_pack_id))
    await judge_swaps(services, [swap[0]])

    assert await rows(services, select(swaps.c.wrong, swaps.c.remarks)) == said


async def add_old_reports(
    services: Services, laptop_id: int, count: int, at: datetime, body: str = "{}"
) -> Sequence[str]:
    ids = [f"old {number}" for number in range(count)]
    async with services.store.writing() as connection:
        await connection.execute(
            insert(reports),
            [
                {
                    "report_id": report_id,
                    "laptop_id": laptop_id,
                    "measured_at": at,
                    "received_at": at + number * timedelta(seconds=1),
                    "body": body,
                }
                for number, report_id in enumerate(ids)
            ],
        )
    return ids


async def test_intake_gets_its_turn_while_old_reports_are_deleted(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    """They go in batches, each with a transaction of its own."""
    await add_old_reports(services, laptop_id, 9_000, clock())
    clock.move(401 * DAY)
    deleted: list[int] = []
    commits = 0

    def note(_c: Any, cursor: Any, statement: str, *_rest: Any) -> None:
        if statement.startswith("DELETE FROM reports"):
            deleted.append(cursor.rowcount)

    def count(_connection: Any) -> None:
        nonlocal commits
        commits += 1

    engine = services.store.engine.sync_engine
    event.listen(engine, "after_cursor_execute", note)
    event.listen(engine, "commit", count)
    intake = Intake(services, lambda: None)
    running = asyncio.create_task(intake.run())
    clearing = asyncio.create_task(clear_out(services))
    await intake.store(laptop_id, [received(reading(clock()))])
    intake.close()
    await running
    assert not clearing.done()

    assert await clearing == 9_000
    batches = [rows for rows in deleted if rows]
    assert len(batches) >= 3
    assert max(batches) <= 2 * BATCH
    assert commits > len(deleted)
    assert await number_of(services, reports) == 1


async def test_deleting_waits_while_filing_is_far_behind(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    ids = await add_old_reports(services, laptop_id, 1_100, clock())
    async with services.store.writing() as connection:
        queued = [{"report_id": name, "laptop_id": laptop_id} for name in ids[50:]]
        await connection.execute(insert(filing_queue), queued)
    clock.move(401 * DAY)

    assert await clear_out(services) == 0

    async with services.store.writing() as connection:
        await connection.execute(filing_queue.delete())
    assert await clear_out(services) == 1_100
