"""Which collector files which reports, on a PostgreSQL that several share."""

import pytest

from fadewatch_collector.store.filing_claims import LANES
from fadewatch_collector.store.store import open_store
from fadewatch_collector.store.turns import take_free_lanes
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.services import Services
from tests.fleet import DAY, keep, new_laptop
from tests.reports import START, make_report, received

ON = (pytest.param("postgresql", marks=pytest.mark.postgres),)


async def test_a_laptop_that_another_collector_files_is_left_alone(
    services: Services,
) -> None:
    ours, theirs = [await new_laptop(services, f"BM-{n}") for n in range(2)]
    for laptop_id in (ours, theirs):
        batch = [received(make_report(START + n * DAY)) for n in range(3)]
        await keep(services, laptop_id, batch)
    other = open_store(services.settings.store_url)
    async with other.writing() as connection:
        lane = theirs % LANES
        assert await take_free_lanes(connection, [lane], 1) == [lane]
        filed = [await file_waiting(services) for _ in range(2)]
    assert [one.laptops for one in filed] == [{ours}, frozenset()]

    # The other collector is gone, and with it its claim.
    await other.close()
    assert (await file_waiting(services)).laptops == {theirs}
