"""Two transactions at once: one alert, one pack, no error."""

import asyncio
from dataclasses import replace

from sqlalchemy import select

from fadewatch_collector.rules.alerting import Finding
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.tables import alerts, packs, readings
from fadewatch_collector.usecases.alerts import apply_findings
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.intake import Intake
from fadewatch_collector.usecases.services import Services
from tests.fleet import DAY, new_laptop, rows
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


async def test_who_file_at_once_file_each_report_once(services: Services) -> None:
    laptop_id = await new_laptop(services)
    intake = Intake(services, lambda: None)
    found = [replace(PACK, serial=f"7{n % 3}01") for n in range(12)]
    batch = [
        received(make_report(START + n * DAY, (pack,))) for n, pack in enumerate(found)
    ]
    stored = asyncio.ensure_future(intake.store(laptop_id, batch))
    await asyncio.sleep(0)
    intake.close()
    await intake.run()
    await stored

    filed = await asyncio.gather(*(file_waiting(services, 3) for _ in range(5)))

    assert sorted(one.reports for one in filed) == [0, 3, 3, 3, 3]
    assert len(await rows(services, select(readings.c.report_id))) == 12
    assert len(await rows(services, select(packs.c.id))) == 3
