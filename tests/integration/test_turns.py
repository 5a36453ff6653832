"""Two transactions at once: one alert, one pack, no error."""

import asyncio
from dataclasses import replace

from sqlalchemy import select

from fadewatch_collector.rules.alerting import Finding
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.queues import QueueDepths, queue_depths
from fadewatch_collector.store.tables import alerts, packs, readings, slot_stays
from fadewatch_collector.usecases.alerts import apply_findings
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, keep, new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import PACK, START, make_report, received

ON = DATABASES
FOUND = Finding(
    kind="wear-plan", urgency="plan", reasons=("Worn.",), next_step="Order a pack."
)


async def test_who_settle_one_pack_at_once_open_one_alert(services: Services) -> None:
    laptop_id = await new_laptop(services)
    subject = Subject(laptop_id, None, "North")

    async def settle() -> None:
        async with services.store.writing() as connection:
            await apply_findings(
                connection, {subject: [FOUND]}, {FOUND.kind}, services.clock()
            )

    await asyncio.gather(*(settle() for _ in range(6)))

    assert await rows(services, select(alerts.c.kind)) == [("wear-plan",)]


async def test_who_file_at_once_file_each_report_once_and_make_one_pack(
    services: Services, clock: StandingClock
) -> None:
    """Six laptops show the same three packs one after the other, and five file."""
    clock.move(200 * DAY)
    for number in range(6):
        packs_here = [replace(PACK, serial=f"7{n % 3}01") for n in range(6)]
        batch = [
            received(make_report(START + (20 * number + n) * DAY, (pack,)))
            for n, pack in enumerate(packs_here)
        ]
        await keep(services, await new_laptop(services, f"BM-{number}"), batch)

    async def file_all() -> int:
        filed = 0
        while (await depths(services)).filing.count:
            filed += (await file_waiting(services, 5)).reports
        return filed

    filed = await asyncio.gather(*(file_all() for _ in range(5)))

    assert sum(filed) == 36
    assert len(await rows(services, select(readings.c.report_id))) == 36
    assert len(await rows(services, select(packs.c.id))) == 3
    open_stays = select(slot_stays.c.laptop_id).where(slot_stays.c.until_at.is_(None))
    assert len(set(await rows(services, open_stays))) == 1


async def test_reports_of_one_laptop_are_filed_in_order_beside_a_long_queue(
    services: Services, clock: StandingClock
) -> None:
    clock.move(200 * DAY)
    first, second = [await new_laptop(services, f"BM-{n}") for n in range(2)]
    for n in range(8):
        for laptop_id in (first, second):
            report = make_report(
                START + n * DAY, (replace(PACK, serial=f"7{laptop_id}01"),)
            )
            await keep(services, laptop_id, [received(report)])

    seen: list[int] = []
    while (await file_waiting(services, 2)).reports:
        found = await rows(
            services,
            select(packs.c.last_seen_at).where(packs.c.serial == f"7{first}01"),
        )
        seen += [(at - START).days for (at,) in found]

    assert seen == sorted(seen)
    assert seen[-1] == 7


async def depths(services: Services) -> QueueDepths:
    async with services.store.reading() as connection:
        return await queue_depths(connection)
