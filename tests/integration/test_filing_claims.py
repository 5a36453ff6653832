"""Which collector files which reports, on a PostgreSQL that several share."""

import asyncio

import pytest
from sqlalchemy import text

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.store.filing_claims import (
    LANES,
    claimed_reports,
    leave_queue,
)
from fadewatch_collector.store.store import Store, open_store
from fadewatch_collector.store.turns import LANES_CLASS, take_free_lanes
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


async def test_the_server_ends_what_a_frozen_collector_holds(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its connection stays open; its claim does not."""
    laptop_id = await new_laptop(services)
    await keep(services, laptop_id, [received(make_report())])
    monkeypatch.setattr(
        "fadewatch_collector.store.filing_claims._WATCHED",
        {"idle_in_transaction_session_timeout": "200ms"},
    )
    other = open_store(services.settings.store_url)
    try:
        with pytest.raises(StoreTrouble):
            await file_with_a_freeze(other, services, laptop_id)
        assert (await file_waiting(services)).reports == 1
    finally:
        await other.close()


async def file_with_a_freeze(other: Store, services: Services, laptop_id: int) -> None:
    async with claimed_reports(other, 500) as claim:
        assert len(claim.reports) == 1
        # No word from here on, as of a machine that hangs.
        await waiting_for_the_lane(services, laptop_id)
        async with claim.writing() as connection:
            await leave_queue(connection, [claim.reports[0].queue_id])


async def waiting_for_the_lane(services: Services, laptop_id: int) -> None:
    async with asyncio.timeout(20), services.store.writing() as connection:
        lock = text("SELECT pg_advisory_xact_lock(:kind, :lane)")
        await connection.execute(lock, {"kind": LANES_CLASS, "lane": laptop_id % LANES})


async def test_sessions_ask_to_be_ended_when_nobody_is_there(
    services: Services,
) -> None:
    async with services.store.reading() as connection:
        said = await connection.scalar(text("SHOW idle_in_transaction_session_timeout"))
    assert said == "2min"
