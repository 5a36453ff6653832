"""From stored reports to packs, daily values, assessments and alerts."""

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import event, insert, select

from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    daily_capacity,
    filing_queue,
    inventory_changes,
    laptops,
    packs,
    readings,
    reports,
    slot_stays,
    unreadable_reports,
)
from fadewatch_collector.usecases.alerts import look_for_silent
from fadewatch_collector.usecases.assess import assess_packs
from fadewatch_collector.usecases.assessing import Assessor, assess_all
from fadewatch_collector.usecases.filing import Filing, file_waiting
from fadewatch_collector.usecases.intake import Intake
from fadewatch_collector.usecases.policies import change_policy
from fadewatch_collector.usecases.services import Services
from fadewatch_common.report import Drive, Pack
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, deliver, new_laptop, rows, technician
from tests.integration.postgres import DATABASES
from tests.reports import PACK, START, make_report, received

ON = DATABASES


@pytest.fixture
async def laptop_id(services: Services) -> int:
    return await new_laptop(services)


def worn(percent: float) -> Pack:
    return replace(PACK, full_charge_capacity=round(57000 * (1 - percent / 100)))


async def test_a_report_becomes_a_pack_in_a_slot_with_a_reading(
    services: Services, laptop_id: int
) -> None:
    (filed,) = await deliver(services, laptop_id, [make_report()])

    assert await rows(services, select(packs.c.model, packs.c.design_capacity)) == [
        ("CC-57", 57000)
    ]
    assert await rows(
        services,
        select(slot_stays.c.laptop_id, slot_stays.c.slot, slot_stays.c.until_at),
    ) == [(laptop_id, "BAT0", None)]
    assert await rows(services, select(readings.c.full_charge_capacity)) == [(54150,)]
    assert await rows(services, select(filing_queue)) == []
    assert filed.laptops == {laptop_id}


async def test_a_day_is_the_median_of_its_plausible_readings(
    services: Services, laptop_id: int
) -> None:
    values = (50000, 51000, 65535000, 0, 49000)
    await deliver(
        services,
        laptop_id,
        [
            make_report(
                START + hour * timedelta(hours=1),
                (replace(PACK, full_charge_capacity=value),),
            )
            for hour, value in enumerate(values)
        ],
    )

    column = daily_capacity.c
    assert await rows(
        services, select(column.day, column.full_charge_capacity, column.readings)
    ) == [(START.date(), 50000.0, 3)]


async def test_a_late_report_changes_the_day_it_belongs_to(
    services: Services, laptop_id: int
) -> None:
    await deliver(services, laptop_id, [make_report(START), make_report(START + DAY)])
    late = make_report(
        START + timedelta(hours=2), (replace(PACK, full_charge_capacity=53000),)
    )
    await deliver(services, laptop_id, [late])

    column = daily_capacity.c
    assert await rows(
        services, select(column.full_charge_capacity).order_by(column.day)
    ) == [(53575.0,), (54150.0,)]


async def test_what_hardly_ever_changes_is_not_written_again(
    services: Services, laptop_id: int
) -> None:
    await deliver(services, laptop_id, [make_report(START)])
    asked: list[str] = []

    def note(_connection: object, _cursor: object, said: str, *_more: object) -> None:
        asked.append(said.partition(" FROM ")[0])

    engine = services.store.engine.sync_engine
    event.listen(engine, "before_cursor_execute", note)
    worse = replace(PACK, full_charge_capacity=53_900)
    await deliver(services, laptop_id, [make_report(START + DAY, (worse,))])
    told, asked = asked, []
    other = replace(worse, chemistry="Li-poly")
    await deliver(services, laptop_id, [make_report(START + 2 * DAY, (other,))])
    event.remove(engine, "before_cursor_execute", note)

    # An index is written again for each of its columns that a statement sets.
    assert [said for said in told if said.startswith("UPDATE slot_stays")] == [
        "UPDATE slot_stays SET last_seen_at = given.last_seen_at"
    ]
    (pack,) = (said for said in told if said.startswith("UPDATE packs"))
    indexed = {column.name for index in packs.indexes for column in index.columns}
    assert not {name for name in {*indexed, "identity"} if f"{name} =" in pack}
    assert any("chemistry =" in said for said in asked)
    assert await rows(
        services, select(packs.c.full_charge_capacity, packs.c.chemistry)
    ) == [(53_900, "Li-poly")]
    assert await rows(
        services, select(slot_stays.c.from_at, slot_stays.c.last_seen_at)
    ) == [(START, START + 2 * DAY)]


async def test_filing_picks_up_where_it_stopped(
    services: Services, laptop_id: int
) -> None:
    intake = Intake(services, lambda: None)
    batch = [received(make_report(START + n * DAY)) for n in range(5)]
    request = asyncio.ensure_future(intake.store(laptop_id, batch))
    await asyncio.sleep(0)
    intake.close()
    await intake.run()
    await request

    counts = [(await file_waiting(services, 2)).reports for _ in range(4)]

    assert counts == [2, 2, 1, 0]
    assert len(await rows(services, select(readings))) == 5


async def test_a_stored_report_that_cannot_be_read_is_set_aside_and_kept(
    services: Services, laptop_id: int, clock: StandingClock
) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            insert(reports).values(
                report_id="r",
                laptop_id=laptop_id,
                measured_at=clock(),
                received_at=clock(),
                body='{"schema": 9}',
            )
        )
        await connection.execute(insert(filing_queue).values(report_id="r"))

    await deliver(services, laptop_id, [make_report()])

    assert await rows(services, select(unreadable_reports.c.report_id)) == [("r",)]
    assert len(await rows(services, select(reports))) == 2
    assert len(await rows(services, select(readings))) == 1


async def test_a_changed_drive_is_kept_in_the_history(
    services: Services, laptop_id: int
) -> None:
    drives = [
        Drive(name="nvme0n1", size_bytes=size, serial=serial)
        for size, serial in ((256 * 10**9, "A"), (512 * 10**9, "B"))
    ]
    await deliver(services, laptop_id, [make_report(START, drives=(drives[0],))])
    await deliver(services, laptop_id, [make_report(START + DAY, drives=(drives[1],))])

    assert len(await rows(services, select(inventory_changes))) == 2
    assert await rows(services, select(laptops.c.storage_total_bytes)) == [
        (512 * 10**9,)
    ]


async def live_alerts(services: Services) -> list[tuple[object, ...]]:
    query = select(alerts.c.kind, alerts.c.urgency).where(alerts.c.state != "ended")
    return await rows(services, query.order_by(alerts.c.kind))


async def days_of_wear(
    services: Services,
    clock: StandingClock,
    laptop_id: int,
    percents: Sequence[float],
) -> None:
    """Report once a day and assess after each, as the days go by."""
    for percent in percents:
        clock.move(DAY)
        for filed in await deliver(
            services, laptop_id, [make_report(clock(), (worn(percent),))]
        ):
            await assess_packs(services, sorted(filed.packs))


async def test_a_worn_pack_raises_wear_plan_once(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await days_of_wear(services, clock, laptop_id, [34.0] * 10)

    assert await live_alerts(services) == [("wear-plan", "plan")]
    (said,) = await rows(services, select(alerts.c.reasons, alerts.c.site))
    assert "34.0 %" in said[0][0]
    assert said[1] == "North"


async def test_wear_past_the_replace_threshold_takes_the_place_of_plan(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await days_of_wear(services, clock, laptop_id, [36.0] * 8 + [43.5] * 40)

    kinds = {kind for kind, _ in await live_alerts(services)}
    assert "wear-replace" in kinds
    assert "wear-plan" not in kinds


async def test_noise_at_a_threshold_does_not_flap(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    noisy = [30.0, 30.4, 29.7, 30.2, 29.8, 30.3, 29.6, 30.1] * 5
    await days_of_wear(services, clock, laptop_id, noisy)

    raised = await rows(
        services, select(alerts.c.kind).where(alerts.c.kind == "wear-plan")
    )
    assert len(raised) <= 1


async def test_a_new_pack_in_the_laptop_leaves_its_own_wear(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await days_of_wear(services, clock, laptop_id, [34.0] * 6)
    clock.move(DAY)
    fresh = replace(PACK, serial="99999", full_charge_capacity=57000, cycle_count=1)
    await deliver(services, laptop_id, [make_report(clock(), (fresh,))])
    await assess_all(services)

    wear = await rows(
        services, select(packs.c.serial, assessments.c.wear).join(assessments)
    )
    assert {serial: round(value, 2) for serial, value in wear} == {
        "00417": 0.34,
        "99999": 0.0,
    }


async def test_a_silent_laptop_is_noted_and_forgotten_when_it_is_back(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await deliver(services, laptop_id, [make_report(clock())])
    clock.move(timedelta(days=15))

    assert await look_for_silent(services) == 1
    assert await live_alerts(services) == [("silent", "note")]

    await deliver(services, laptop_id, [make_report(clock())])
    assert await live_alerts(services) == []


async def test_a_laptop_that_enrolled_and_never_reported_is_silent_too(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    clock.move(timedelta(days=15))

    assert await look_for_silent(services) == 1


async def test_how_long_is_silent_is_the_policys_of_the_site(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await deliver(services, laptop_id, [make_report(clock())])
    pat = await technician(services)
    await change_policy(services, "site:North", {"silent_days": 5}, pat)
    clock.move(timedelta(days=6))

    assert await look_for_silent(services) == 1

    await change_policy(services, "site:North", {"silent_days": 40}, pat)
    clock.move(timedelta(days=20))
    assert await look_for_silent(services) == 0


async def test_a_running_collector_files_and_assesses_by_itself(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    assessed = asyncio.Event()
    assessor = Assessor(services, assessed.set)
    filing = Filing(services, assessor.wake)
    intake = Intake(services, filing.wake)
    async with asyncio.TaskGroup() as group:
        for worker in (intake, filing, assessor):
            group.create_task(worker.run())
        batch = [
            received(make_report(clock() - n * DAY, (worn(45),))) for n in range(9)
        ]
        await intake.store(laptop_id, batch)
        async with asyncio.timeout(20):
            await assessed.wait()
        for closing in (intake, filing, assessor):
            closing.close()

    assert ("wear-replace", "act") in await live_alerts(services)
