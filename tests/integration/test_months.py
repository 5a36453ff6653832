"""On PostgreSQL readings lie in months, which come and go as a whole."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from sqlalchemy import insert, select, text
from sqlalchemy.exc import IntegrityError

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import newest_revision, revisions, upgrade
from fadewatch_collector.store.schema_turn import schema_turn
from fadewatch_collector.store.store import Store, open_store
from fadewatch_collector.store.tables import laptops, packs, readings
from fadewatch_collector.usecases.months import keep_months
from fadewatch_collector.usecases.retention import clear_out
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, deliver, new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import START, make_report

# SQLite keeps one table: there are no months to test.
ON = DATABASES[1:]

BEFORE_MONTHS = "0010"
"""The schema in which readings were one table on PostgreSQL too."""

CHECK_LEFT = """
    ALTER TABLE readings ADD CONSTRAINT readings_before_2040_02_01
    CHECK (measured_at < '2040-02-01 00:00+00') NOT VALID
"""
KEY_LEFT = "CREATE UNIQUE INDEX uq_readings_ready ON readings (report_id)"
KEY_IS_HALF_BUILT = """
    UPDATE pg_index SET indisvalid = false
    WHERE indexrelid = CAST('uq_readings_ready' AS regclass)
"""


@pytest.fixture
async def laptop_id(services: Services) -> int:
    return await new_laptop(services)


async def parts(store: Store) -> dict[str, int]:
    """Return the parts of the table, and how many rows are in each."""
    names = text(
        "SELECT inhrelid::regclass::text FROM pg_inherits"
        " WHERE inhparent = 'readings'::regclass ORDER BY 1"
    )
    async with store.reading() as connection:
        return {
            name: await connection.scalar(text(f"SELECT count(*) FROM {name}"))  # noqa: S608  a name from the catalogue
            for name in await connection.scalars(names)
        }


async def test_the_coming_months_are_made_ready_once(
    services: Services, clock: StandingClock
) -> None:
    clock.now = datetime(2031, 11, 30, 23, 0, tzinfo=UTC)

    # What was made ready at first is over by then.
    assert await keep_months(services) == 4 + 4
    assert await keep_months(services) == 0

    there = await parts(services.store)
    for month in ("2031_11", "2031_12", "2032_01", "2032_02"):
        assert f"readings_{month}" in there


async def test_what_came_for_no_month_is_sorted_into_its_own(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await keep_months(services)
    # A laptop that was off for long delivers what it queued; months end at midnight.
    odd = [datetime(2025, 9, 30, 23, 59, 59, tzinfo=UTC), datetime(2025, 10, 1, tzinfo=UTC)]  # fmt: skip
    batch = [make_report(at) for at in (*odd, clock())]
    await deliver(services, laptop_id, batch)
    assert (await parts(services.store))["readings_rest"] == 2
    before = sorted(await rows(services, select(readings)))

    assert await keep_months(services) == 2

    there = await parts(services.store)
    assert there["readings_rest"] == 0
    assert there["readings_2025_09"] == there["readings_2025_10"] == 1
    assert sorted(await rows(services, select(readings))) == before
    # The next one goes straight to its month, and no report is there twice.
    await deliver(services, laptop_id, [make_report(odd[1] + DAY), batch[1]])
    assert (await parts(services.store))["readings_2025_10"] == 2


async def test_a_clock_that_is_wrong_by_years_makes_no_months(
    services: Services, laptop_id: int
) -> None:
    await keep_months(services)
    before = (await parts(services.store)).keys()
    wrong = [datetime(year, 5, 1, tzinfo=UTC) for year in (1999, 2019, 2040, 2199)]
    await deliver(services, laptop_id, [make_report(at) for at in wrong])

    assert await keep_months(services) == 0

    assert (await parts(services.store)).keys() == before
    assert len(await rows(services, select(readings))) == 4


async def test_a_month_that_is_over_is_dropped_whole_and_no_day_sooner(
    services: Services, clock: StandingClock, laptop_id: int
) -> None:
    await keep_months(services)
    await deliver(services, laptop_id, [make_report(datetime(2026, 3, 1, tzinfo=UTC))])
    clock.now = datetime(2026, 4, 1, 3, 0, tzinfo=UTC) + 399 * DAY
    await keep_months(services)
    await clear_out(services)
    assert (await parts(services.store))["readings_2026_03"] == 1

    clock.move(DAY)
    await keep_months(services)

    assert "readings_2026_03" not in await parts(services.store)
    assert await rows(services, select(readings)) == []


async def test_a_step_that_somebody_holds_up_is_given_up_and_tried_again(
    services: Services, clock: StandingClock
) -> None:
    """Behind a lock that waits everybody else waits, so it waits shortly."""
    clock.now = datetime(2031, 11, 30, tzinfo=UTC)
    async with services.store.reading() as connection:
        await connection.execute(text("SELECT * FROM readings_rest"))
        made = asyncio.create_task(keep_months(services))
        # Longer than one try waits, so that it is the second that comes through.
        waiting = text(
            "SELECT count(*) FROM pg_locks WHERE NOT granted"
            " AND relation = 'readings_rest'::regclass"
        )
        seen = 0
        async with services.store.engine.connect() as other:
            for _ in range(300):
                now = await other.scalar(waiting)
                await other.rollback()
                if seen and not now:
                    break
                seen = max(seen, now or 0)
                await asyncio.sleep(0.02)
        assert seen == 1
        assert not made.done()

    assert await made == 4 + 4


async def old_store(store: Store, days: int) -> None:
    """Make a store of before there were months, with a reading a day."""
    await upgrade(store, to=BEFORE_MONTHS)
    async with store.writing() as connection:
        await connection.execute(insert(laptops).values(id=1, enrolled_at=START))
        await connection.execute(
            insert(packs).values(
                id=1, unit="mWh", first_seen_at=START, last_seen_at=START
            )
        )
        await connection.execute(
            text(
                "INSERT INTO reports"
                " (report_id, laptop_id, measured_at, received_at, body)"
                " SELECT 'r' || n, 1, CAST(:start AS timestamptz) + n * interval '1 day',"
                " now(), '{}' FROM generate_series(0, :days - 1) AS n"
            ),
            {"start": START, "days": days},
        )
        await connection.execute(
            text(
                "INSERT INTO readings (pack_id, laptop_id, slot, report_id,"
                " measured_at, unit, state)"
                " SELECT 1, 1, 'BAT0', report_id, measured_at, 'mWh', 'full'"
                " FROM reports"
            )
        )


@pytest.fixture
async def store(
    empty_store: Callable[[], Awaitable[Settings]],
) -> AsyncIterator[Store]:
    store = open_store((await empty_store()).store_url)
    yield store
    await store.close()


async def test_a_store_of_before_keeps_its_rows_where_they_are(
    services: Services, clock: StandingClock, store: Store
) -> None:
    """They become one part, are deleted as they grow old, and it goes when it is over."""
    await old_store(store, days=100)
    async with store.reading() as connection:
        file = text("SELECT relfilenode FROM pg_class WHERE relname = :name")
        before = await connection.scalar(file, {"name": "readings"})

    await upgrade(store)

    async with store.reading() as connection:
        assert await connection.scalar(file, {"name": "readings_before"}) == before
    assert (await parts(store))["readings_before"] == 100
    old = replace(services, store=store)
    clock.now = START + (400 + 40) * DAY
    await keep_months(old)
    await clear_out(old)
    assert (await parts(store))["readings_before"] == 60
    # Far past what the part can hold, whenever the migration ran.
    clock.now = datetime.now(UTC) + 600 * DAY
    await keep_months(old)
    assert "readings_before" not in await parts(store)


async def test_a_slot_is_read_once_a_report_in_whatever_part(
    services: Services, laptop_id: int
) -> None:
    await deliver(services, laptop_id, [make_report(START), make_report(START + DAY)])
    await keep_months(services)
    async with services.store.reading() as connection:
        one = (await connection.execute(select(readings).limit(1))).mappings().one()

    with pytest.raises(IntegrityError):
        async with services.store.writing() as connection:
            await connection.execute(insert(readings).values(**one))


async def test_what_was_interrupted_goes_on_with_what_is_there(store: Store) -> None:
    """An index left half built is made again; the bound once chosen is kept."""
    await old_store(store, days=3)
    async with store.writing() as connection:
        for step in (CHECK_LEFT, KEY_LEFT, KEY_IS_HALF_BUILT):
            await connection.execute(text(step))

    await upgrade(store)

    there = await parts(store)
    assert there["readings_before"] == 3
    assert "readings_2040_02" in there
    async with store.reading() as connection:
        key = await connection.scalar(
            text("SELECT pg_get_indexdef('pk_readings_before'::regclass)")
        )
    assert "(report_id, slot, measured_at)" in key


async def test_readings_are_written_while_the_table_is_made_ready(
    store: Store,
) -> None:
    """No row is lost, and nobody waits for long."""
    await old_store(store, days=3)
    upgrading = asyncio.create_task(upgrade(store))
    written = 3
    waits = []
    while not upgrading.done():
        began = asyncio.get_running_loop().time()
        async with store.writing() as connection:
            await connection.execute(
                text(
                    "INSERT INTO readings (pack_id, laptop_id, slot, report_id,"
                    " measured_at, unit, state)"
                    " VALUES (1, 1, :slot, 'r0', :at, 'mWh', 'full')"
                ),
                {"slot": f"BAT{written}", "at": START},
            )
        waits.append(asyncio.get_running_loop().time() - began)
        written += 1
    await upgrading

    async with store.reading() as connection:
        assert await connection.scalar(text("SELECT count(*) FROM readings")) == written
    assert len(waits) > 3
    assert max(waits) < 10


async def test_collectors_that_start_at_once_upgrade_one_after_the_other(
    store: Store,
) -> None:
    others = [open_store(store.engine.url.render_as_string(hide_password=False))]
    others += [open_store(others[0].engine.url.render_as_string(hide_password=False))]

    before = await asyncio.gather(*(upgrade(one) for one in (store, *others)))

    assert {found.found for found in before} == {None}
    assert (await revisions(store)).found == newest_revision()
    for one in others:
        await one.close()


async def test_an_upgrade_waits_for_the_collector_that_has_the_turn(
    store: Store,
) -> None:
    async with schema_turn(store):
        waiting = asyncio.create_task(upgrade(store))
        done, _ = await asyncio.wait([waiting], timeout=1.5)
        assert not done
        assert (await revisions(store)).found is None
    await waiting

    assert (await revisions(store)).found == newest_revision()
