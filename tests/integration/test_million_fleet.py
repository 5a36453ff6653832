"""The fleet that the simulation makes is the one that its reports come from."""

from datetime import UTC, datetime

from sqlalchemy import func, select

from fadewatch_collector.store.tables import laptops, packs, readings
from fadewatch_collector.usecases.agent_keys import laptop_of_key
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.intake import ReceivedReport
from fadewatch_collector.usecases.services import Services
from fadewatch_common.report_id import make_report_id
from tests.benchmarks.million_fleet import (
    key_of,
    report_text,
    seed_postgres,
    seed_sqlite,
)
from tests.fakes.clock import StandingClock
from tests.fleet import keep, rows
from tests.integration.postgres import DATABASES

ON = DATABASES
LAPTOPS = 30


async def test_a_report_is_of_a_laptop_and_a_pack_that_are_known(
    services: Services, clock: StandingClock, database: str
) -> None:
    clock.now = datetime.now(UTC)
    if database == "sqlite":
        seed_sqlite(services.settings.data_folder / "fadewatch.sqlite3", LAPTOPS)
    else:
        await seed_postgres(services.settings.store_url, LAPTOPS)
    number, report_id = 17, make_report_id(0, 5)
    body = report_text(number, report_id, clock.now, 53_210)
    assert 1_900 < len(body) < 2_200

    laptop_id = await laptop_of_key(services, key_of(number))
    await keep(services, laptop_id, [ReceivedReport(report_id, clock.now, body)])
    await file_waiting(services)

    found = await rows(
        services, select(readings.c.pack_id, readings.c.full_charge_capacity)
    )
    assert found == [(number, 53_210)]
    assert await rows(services, select(func.count(packs.c.id))) == [(LAPTOPS,)]
    ((heard,),) = await rows(
        services, select(laptops.c.last_report_at).where(laptops.c.id == laptop_id)
    )
    assert heard == clock.now
