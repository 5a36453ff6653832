"""A young pack borrows the fade of its own type."""

from dataclasses import replace

from sqlalchemy import select

from fadewatch_collector.store.histories import load_fitted, own_fades
from fadewatch_collector.store.tables import assessments
from fadewatch_collector.usecases.assessing import assess_all
from fadewatch_collector.usecases.borrowing import borrowed
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, deliver, new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import PACK, make_report

ON = DATABASES

FADE_PER_DAY = 0.0006
HISTORY_DAYS = 240


async def test_a_young_pack_is_forecast_by_its_own_type(
    services: Services, clock: StandingClock
) -> None:
    start = clock()
    for number in range(6):
        laptop_id = await new_laptop(services, f"BM-{number}")
        batch = []
        for day in range(0, HISTORY_DAYS, 4):
            full = round(57000 * (1 - FADE_PER_DAY * (day + 3 * number)))
            pack = replace(PACK, serial=f"7000{number}", full_charge_capacity=full)
            batch.append(make_report(start + day * DAY, (pack,)))
        clock.now = start + HISTORY_DAYS * DAY
        await deliver(services, laptop_id, batch)
    young = replace(PACK, serial="80001", full_charge_capacity=56900)
    laptop_id = await new_laptop(services, "BM-9")
    await deliver(services, laptop_id, [make_report(clock(), (young,))])

    await assess_all(services)
    await assess_all(services)

    async with services.store.reading() as connection:
        (fades,) = (await own_fades(connection)).values()
        assert len(fades) == 6
        fitted = await load_fitted(connection, [7], clock().date())
        priors = await borrowed(connection, [7], fitted)
    assert abs(priors.fade[0] / FADE_PER_DAY - 1) < 0.25
    sources = await rows(
        services,
        select(assessments.c.fade_source).where(assessments.c.pack_id == 7),
    )
    assert sources == [("own pack type",)]
