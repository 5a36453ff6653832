"""How packs are charged: counted with their readings, told at night, exported."""

from collections import defaultdict
from collections.abc import Awaitable, Callable
from dataclasses import astuple, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from sqlalchemy import and_, delete, func, insert, or_, select, text, update

from fadewatch_collector.cli.export import export_group
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.charging_day import ChargingDay, charging_day
from fadewatch_collector.settings import Settings
from fadewatch_collector.store.schema import upgrade
from fadewatch_collector.store.store import open_store
from fadewatch_collector.store.tables import (
    alerts,
    charging_habits,
    daily_charging,
    laptops,
    packs,
    readings,
    reports,
    slot_stays,
)
from fadewatch_collector.usecases.charging import (
    ChargingFilter,
    charging_list,
    pack_charging,
    tell_habits,
)
from fadewatch_collector.usecases.charging_csv import (
    CHARGING_CSV_COLUMNS,
    stream_charging_csv,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_common.report import Pack, Report
from tests.fakes.clock import StandingClock
from tests.fixtures.shown_charging import fill_charging
from tests.fixtures.shown_fleet import fill
from tests.fleet import DAY, deliver, new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import PACK, START, make_report

ON = DATABASES

FULL = replace(PACK, remaining_capacity=54150, state="full", temperature_c=31.5)
HELD = replace(PACK, remaining_capacity=43320, state="held", charge_limit_percent=80)
ADVISED = ChargingFilter()
HOUR = timedelta(hours=1)


async def counted(services: Services) -> dict[tuple[int, date], ChargingDay]:
    columns = [daily_charging.c[name] for name in ChargingDay.__dataclass_fields__]
    found = await rows(services, select(daily_charging.c.pack_id, *columns))
    return {(row[0], row[1]): ChargingDay(*row[1:]) for row in found}


async def recounted(services: Services) -> dict[tuple[int, date], ChargingDay]:
    """Count the stored readings, one pack and day at a time."""
    days: dict[tuple[int, date], list[Any]] = defaultdict(list)
    async with services.store.reading() as connection:
        query = select(readings).order_by(readings.c.measured_at)
        for row in await connection.execute(query):
            days[row.pack_id, row.measured_at.date()].append(row)
    return {key: charging_day(key[1], found) for key, found in days.items()}


def read(at: Any, pack: Pack = FULL, *, mains: bool | None = True) -> Report:
    return make_report(at, (pack,), mains_online=mains)


async def test_a_days_readings_are_counted_when_they_are_filed(
    services: Services,
) -> None:
    laptop = await new_laptop(services)

    await deliver(
        services,
        laptop,
        [
            read(START),
            read(START + HOUR, HELD),
            read(START + 2 * HOUR, PACK, mains=False),
            read(START + DAY, replace(FULL, temperature_c=None)),
        ],
    )

    (first, second) = sorted((await counted(services)).items())
    assert astuple(first[1]) == (
        START.date(), 3, 3, 2, 1, 1, 31.5, 31.5, 40000 / 54150, 80,
    )  # fmt: skip
    assert (second[1].near_full, second[1].near_full_temperature_c) == (1, None)


async def test_late_and_repeated_reports_leave_the_count_of_what_is_stored(
    services: Services,
) -> None:
    laptop = await new_laptop(services)
    today = [read(START + DAY), read(START + DAY + HOUR, HELD)]
    late = [read(START), read(START + DAY - HOUR, PACK, mains=None)]

    await deliver(services, laptop, today)
    await deliver(services, laptop, late)
    await deliver(services, laptop, [*today, *late])
    await deliver(services, laptop, [read(START + DAY + 2 * HOUR)])

    found = await counted(services)
    assert found == await recounted(services)
    assert [day.readings for _, day in sorted(found.items())] == [1, 4]


async def test_readings_that_move_to_another_pack_are_counted_there(
    services: Services,
) -> None:
    laptop = await new_laptop(services)
    weak = replace(FULL, serial=None, cycle_count=None)
    course = [54150] * 8 + [56900] * 8
    await deliver(
        services,
        laptop,
        [
            read(
                START + n * DAY,
                replace(weak, full_charge_capacity=full, remaining_capacity=full),
            )
            for n, full in enumerate([40000] * 8 + course)
        ],
    )

    found = await counted(services)
    assert len({pack_id for pack_id, _ in found}) > 1
    assert found == await recounted(services)


async def test_the_migration_counts_the_readings_that_are_there(
    services: Services, empty_store: Callable[[], Awaitable[Settings]]
) -> None:
    """On the schema before it, whatever came after it; and again after a kill."""
    store = open_store((await empty_store()).store_url)
    before = replace(services, store=store)
    await upgrade(store, to="0006")
    async with store.writing() as connection:
        await connection.execute(insert(laptops), [{"id": 1, "enrolled_at": START}])
        for number in range(1, 121):
            await _add_old_pack(connection, number)

    await upgrade(store, to="0007")

    found = await counted(before)
    assert len(found) == 120 * 2
    async with store.writing() as connection:
        # As a kill leaves it: some packs are counted, the last of them in part.
        column = daily_charging.c
        is_lost = or_(
            column.pack_id > 70, and_(column.pack_id == 70, column.day > START.date())
        )
        lost = await connection.execute(delete(daily_charging).where(is_lost))
        assert lost.rowcount == 50 * 2 + 1
        await connection.execute(text("UPDATE alembic_version SET version_num='0006'"))
    await upgrade(store)

    assert await counted(before) == found == await recounted(before)
    await store.close()


async def _add_old_pack(connection: Any, number: int) -> None:
    await connection.execute(
        insert(packs).values(
            id=number, unit="mWh", first_seen_at=START, last_seen_at=START
        )
    )
    for at, state, charge in (
        (START, "full", 50),
        (START + HOUR, "held", 30),
        (START + DAY, "discharging", number % 50),
    ):
        report = f"{number}-{at.isoformat()}"
        await connection.execute(
            insert(reports).values(
                report_id=report, laptop_id=1, measured_at=at, received_at=at, body="{}"
            )
        )
        await connection.execute(
            insert(readings).values(
                pack_id=number, laptop_id=1, slot="BAT0", report_id=report,
                measured_at=at, unit="mWh", full_charge_capacity=50,
                remaining_capacity=charge, state=state, mains_online=None,
                temperature_c=20.0 + number % 7,
            )
        )  # fmt: skip


@pytest.fixture
async def fleet(services: Services) -> Services:
    await fill(services.store, services.clock(), laptops=24)
    await fill_charging(services)
    return services


async def listed(
    services: Services, wanted: ChargingFilter = ADVISED, limit: int = 50
) -> list[int]:
    """Walk the list to its end."""
    found, cursor = [], None
    while True:
        page = await charging_list(services, wanted, cursor, limit)
        found += [row.pack_id for row in page.rows]
        cursor = page.next_cursor
        if cursor is None:
            return found


async def test_the_list_holds_what_is_worth_a_thought_most_near_full_first(
    fleet: Services,
) -> None:
    found = await charging_list(fleet, ChargingFilter())

    numbers = [row.pack_id for row in found.rows]
    # Pack 9 keeps its limit and pack 15 has too few readings; packs 2 and 3 sat in
    # one laptop, the first of them until it was swapped.
    assert sorted(numbers) == [3, 6, 12, 18, 21, 24]
    ranks = [row.habit.rank for row in found.rows]
    assert ranks == sorted(ranks, reverse=True)
    assert found.as_of == fleet.clock().date()
    assert {row.habit.advice for row in found.rows if row.pack_id != 12} == {"consider"}
    assert next(r for r in found.rows if r.pack_id == 12).habit.advice == "check"


@pytest.mark.parametrize("limit", [1, 2, 3])
async def test_pages_of_the_list_hold_every_pack_once(
    fleet: Services, limit: int
) -> None:
    for wanted in (ChargingFilter(), ChargingFilter(only_advised=False)):
        whole = await listed(fleet, wanted)
        assert await listed(fleet, wanted, limit) == whole
        assert len(set(whole)) == len(whole)


async def test_the_list_is_narrowed_by_site_and_by_what_is_known_of_the_limit(
    fleet: Services,
) -> None:
    known = await listed(fleet, ChargingFilter(limit="reported"))
    unknown = await listed(fleet, ChargingFilter(limit="not reported"))
    site = (await charging_list(fleet, ADVISED)).rows[0].site
    at_site = await charging_list(fleet, ChargingFilter(site=site))

    assert sorted(known) == [6, 12, 18, 24]
    assert sorted(unknown) == [3, 21]
    assert at_site.rows
    assert site is not None
    assert {row.site for row in at_site.rows} == {site}
    assert await listed(fleet, ChargingFilter(site="Nowhere")) == []


async def test_a_place_in_the_list_that_no_page_gave_is_refused(
    fleet: Services,
) -> None:
    with pytest.raises(InvalidRequest):
        await charging_list(fleet, ChargingFilter(), "nonsense")


async def test_a_pack_that_was_not_read_for_90_days_is_forgotten(
    fleet: Services, clock: StandingClock
) -> None:
    clock.move(100 * DAY)

    assert await tell_habits(fleet) == 0
    assert await rows(fleet, select(func.count(charging_habits.c.pack_id))) == [(0,)]
    assert (await charging_list(fleet, ChargingFilter())).as_of == clock().date()


async def test_telling_twice_says_the_same(fleet: Services) -> None:
    query = select(charging_habits).order_by(charging_habits.c.pack_id)
    before = await rows(fleet, query)

    await tell_habits(fleet)

    assert await rows(fleet, query) == before


async def test_a_pack_taken_out_leaves_the_list(fleet: Services) -> None:
    async with fleet.store.writing() as connection:
        await connection.execute(
            update(slot_stays)
            .where(slot_stays.c.pack_id == 6)
            .values(until_at=fleet.clock())
        )

    assert 6 not in await listed(fleet)


async def test_a_laptop_to_be_stopped_is_not_asked_for_a_limit(
    fleet: Services,
) -> None:
    found = await charging_list(fleet, ADVISED)
    laptop = next(row.laptop_id for row in found.rows if row.pack_id == 6)
    now = fleet.clock()
    async with fleet.store.writing() as connection:
        await connection.execute(
            insert(alerts).values(
                kind="swelling-reported", urgency="stop-use", urgency_rank=0,
                state="open", subject=f"laptop:{laptop}", laptop_id=laptop,
                opened_at=now, changed_at=now, reasons=[], next_step="stop",
                figures_opened={}, figures_now={},
            )
        )  # fmt: skip

    assert 6 not in await listed(fleet)
    told = await pack_charging(fleet, 6)
    assert told.habit.advice == "none"
    assert "do not charge it" in told.said[0]
    every = await charging_list(fleet, ChargingFilter(only_advised=False))
    assert [row.pack_id for row in every.rows if row.habit.is_stopped].count(6) == 1


async def test_one_pack_is_told_by_what_is_known_now(
    services: Services, clock: StandingClock
) -> None:
    laptop = await new_laptop(services)
    start = clock() - 19 * DAY
    await deliver(services, laptop, [read(start + n * DAY) for n in range(20)])

    found = await pack_charging(services, 1)

    assert found.habit.habit == "near full"
    assert len(found.days) == 20
    assert "in 20 of 20 readings of the last 30 days" in found.said[0]
    assert await listed(services) == []


async def test_the_csv_has_a_row_a_pack_in_a_laptop(fleet: Services) -> None:
    whole = b"".join([piece async for piece in stream_charging_csv(fleet)])

    lines = whole.decode().split("\r\n")
    assert lines[0].split(",") == list(CHARGING_CSV_COLUMNS)
    assert lines[-1] == ""
    cells = [line.split(",") for line in lines[1:-1]]
    by_pack = {row[CHARGING_CSV_COLUMNS.index("pack_serial")]: row for row in cells}
    assert (
        len(by_pack)
        == len(cells)
        == len(await listed(fleet, ChargingFilter(only_advised=False)))
    )
    # Pack 6, over 30 days: away on days 0, 10 and 20 of them, so 27 of 30 near full.
    row = dict(zip(CHARGING_CSV_COLUMNS, await _row_of(fleet, 6, cells), strict=True))
    assert row["habit"] == '"near full"'
    assert row["charge_limit_percent"] == "100"
    assert row["charge_limit"] == '"unused"'
    assert row["advice"] == '"consider"'
    assert row["last_30_days_readings"] == "90"
    assert row["last_30_days_near_full_readings"] == "81"
    assert row["last_30_days_near_full_percent"] == "90.0"
    # scipy.stats.binomtest(27, 30).proportion_ci(0.8, "wilson"): 0.80781 to 0.95067.
    assert row["last_30_days_near_full_percent_low"] == "80.8"
    assert row["last_30_days_near_full_percent_high"] == "95.1"
    assert row["last_30_days_near_full_median_temperature_c"] == "43.0"
    assert row["last_90_days_days"] == "40"
    assert row["last_90_days_lowest_charge_percent"] == "31.0"


async def _row_of(
    services: Services, pack_id: int, cells: list[list[str]]
) -> list[str]:
    ((serial,),) = await rows(
        services, select(packs.c.serial).where(packs.c.id == pack_id)
    )
    place = CHARGING_CSV_COLUMNS.index("pack_serial")
    (found,) = [row for row in cells if row[place] == f'"{serial}"']
    return found


def test_the_command_writes_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FADEWATCH_DATA_FOLDER", str(tmp_path / "data"))
    monkeypatch.delenv("FADEWATCH_DATABASE_URL", raising=False)
    out = tmp_path / "charging.csv"

    result = CliRunner().invoke(export_group, ["charging", "--out", str(out)])

    assert (result.exit_code, result.output) == (0, "")
    assert out.read_bytes() == ",".join(CHARGING_CSV_COLUMNS).encode() + b"\r\n"
