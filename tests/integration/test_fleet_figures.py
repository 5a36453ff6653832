"""What is worked out over the whole fleet, from reports to kept figures."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import func, insert, select, update

from fadewatch_collector.rules.fleet_shares import born_before, shares, whole
from fadewatch_collector.store import fleet_view as view_rows
from fadewatch_collector.store.tables import (
    assessments,
    kept_forecasts,
    laptops,
    packs,
    slot_stays,
    threshold_passings,
)
from fadewatch_collector.usecases.assessing import assess_all
from fadewatch_collector.usecases.fleet_figures import (
    FIGURES,
    HELD,
    SHARES,
    SMALL_FLEET,
    sum_up_fleet,
)
from fadewatch_collector.usecases.forecasts import keep_forecasts
from fadewatch_collector.usecases.services import Services
from tests.benchmarks.fleet_store import NOW, fill
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, deliver, new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import PACK, make_report

ON = DATABASES

START = datetime(2026, 1, 10, 8, 0, tzinfo=UTC)


async def fade_through(
    services: Services,
    clock: StandingClock,
    laptop_id: int,
    wears: Sequence[float],
    serial: str = "00417",
) -> None:
    """Deliver ten days of readings of each wear, and do the night's work after each."""
    for wear in wears:
        full = round(57000 * (1 - wear))
        pack = replace(PACK, serial=serial, full_charge_capacity=full)
        batch = [make_report(clock() - n * DAY, (pack,)) for n in range(9, -1, -1)]
        await deliver(services, laptop_id, batch)
        await assess_all(services)
        await keep_forecasts(services)
        clock.move(timedelta(days=10))


async def figures(services: Services) -> dict[str, Any]:
    await sum_up_fleet(services)
    async with services.store.reading() as connection:
        kept = await view_rows.kept_figures(connection, FIGURES)
    return {name.split(".")[0]: body for name, (_, body) in kept.items()}


async def passings(services: Services) -> dict[float, date]:
    query = select(threshold_passings.c.threshold, threshold_passings.c.passed_on)
    return dict(await rows(services, query))


async def test_a_passing_stands_through_noise_and_goes_when_wear_does(
    services: Services, clock: StandingClock
) -> None:
    clock.now = START
    laptop = await new_laptop(services)

    await fade_through(services, clock, laptop, [0.20, 0.28, 0.315])
    first = await passings(services)
    await fade_through(services, clock, laptop, [0.295, 0.31])
    noisy = await passings(services)
    await fade_through(services, clock, laptop, [0.2, 0.2])

    # The third ten days begin on 21 January.
    assert list(first) == [0.3]
    assert timedelta(0) <= first[0.3] - date(2026, 1, 21) <= timedelta(days=3)
    assert noisy == first
    assert await passings(services) == {}


async def test_forecasts_are_kept_once_a_month_and_held_against_what_came(
    services: Services, clock: StandingClock
) -> None:
    clock.now = START
    laptop = await new_laptop(services)
    steps = [0.10 + 0.012 * step for step in range(19)]

    await fade_through(services, clock, laptop, steps)

    days = await rows(services, select(kept_forecasts.c.as_of))
    assert [day.month for (day,) in sorted(days)] == [1, 2, 3, 4, 5, 6, 7]
    found = (await figures(services))["held"]
    plan = next(
        row for row in found if (row["threshold"], row["lead"]) == ("plan", "all")
    )
    # Wear passes 30 % with the 18th step, about 29 June: July's is of no forecast.
    assert plan["forecasts"] == 6
    assert plan["packs"] == 1
    ended = plan["before"] + plan["within"] + plan["after"] + plan["waiting"]
    assert ended + plan["open"] >= 1
    assert plan["latest_due"] == ended


async def test_a_pack_that_is_gone_keeps_its_passing_and_has_no_more_forecasts(
    services: Services, clock: StandingClock
) -> None:
    clock.now = START
    laptop = await new_laptop(services)
    await fade_through(services, clock, laptop, [0.28, 0.32])
    before = await passings(services)
    await fade_through(services, clock, laptop, [0.0] * 4, serial="00999")

    kept = await rows(
        services,
        select(kept_forecasts.c.pack_id, func.count()).group_by(
            kept_forecasts.c.pack_id
        ),
    )
    assert await passings(services) == before
    assert dict(kept) == {1: 1, 2: 2}


async def test_old_forecasts_are_dropped_after_three_years(
    services: Services, clock: StandingClock
) -> None:
    clock.now = START
    laptop = await new_laptop(services)
    await fade_through(services, clock, laptop, [0.1])
    clock.now = START.replace(year=2029)
    await keep_forecasts(services)
    still = await rows(services, select(kept_forecasts.c.as_of))
    clock.now = START.replace(year=2029, month=2)
    await keep_forecasts(services)

    assert (date(2026, 1, 10),) in still
    assert (date(2026, 1, 10),) not in await rows(
        services, select(kept_forecasts.c.as_of)
    )


async def add_pack(services: Services, number: int, **values: Any) -> None:
    """Put a pack into a slot, assessed as told."""
    at = values.pop("first_seen_at", START)
    band, wear = values.pop("band", "sound"), values.pop("wear", 0.1)
    site = values.pop("site", "North")
    pack = {
        "id": number,
        "maker": "Callow Cells",
        "model": "CC-57",
        "unit": "mWh",
        "design_capacity": 57000,
        "first_seen_at": at,
        "last_seen_at": START,
        "made_on": None,
    }
    async with services.store.writing() as connection:
        await connection.execute(
            insert(laptops).values(id=number, site=site, enrolled_at=at)
        )
        await connection.execute(insert(packs).values(pack | values))
        await connection.execute(
            insert(slot_stays).values(
                laptop_id=number,
                slot="BAT0",
                pack_id=number,
                from_at=at,
                last_seen_at=at,
            )
        )
        if band is not None:
            await connection.execute(
                insert(assessments).values(
                    pack_id=number,
                    as_of=START.date(),
                    readings=9,
                    band=band,
                    wear=wear,
                    concern="none",
                    reasons=[],
                )
            )


async def test_shares_are_counted_by_band_and_site_age_and_type(
    services: Services,
) -> None:
    today = date(2026, 1, 12)
    await add_pack(services, 1, made_on=date(2025, 6, 1))
    await add_pack(services, 2, made_on=date(2023, 1, 1), band="plan", site="South")
    await add_pack(services, 3, band="replace", site=None, design_capacity=57010)
    await add_pack(
        services, 4, band=None, first_seen_at=START - timedelta(days=500), model="CC-42"
    )

    async with services.store.reading() as connection:
        counted = await view_rows.share_rows(connection, born_before(today))
    found = shares(counted)

    by = {
        name: [
            (one.name, one.sound, one.plan, one.replace, one.unknown, one.first_seen)
            for one in each
        ]
        for name, each in found.items()
    }
    assert by["site"] == [
        ("no site told", 0, 0, 1, 0, 1),
        ("South", 0, 1, 0, 0, 0),
        ("North", 1, 0, 0, 1, 1),
    ]
    assert by["age"] == [
        ("under 1 year", 1, 0, 1, 0, 1),
        ("1 to 2 years", 0, 0, 0, 1, 1),
        ("3 to 4 years", 0, 1, 0, 0, 0),
    ]
    assert [row[1:5] for row in by["type"]] == [(1, 1, 1, 0), (0, 0, 0, 1)]
    assert whole(counted).packs == 4


async def test_a_fleet_without_packs_can_be_summed_up(services: Services) -> None:
    found = await figures(services)

    assert found["shares"]["whole"]["sound"] == 0
    assert found["expected"]["months"] == []
    assert found["types"] == []


async def test_the_store_is_the_same_after_two_sums(
    services: Services, clock: StandingClock
) -> None:
    clock.now = START
    laptop = await new_laptop(services)
    await fade_through(services, clock, laptop, [0.1, 0.15, 0.2])

    assert await figures(services) == await figures(services)


async def test_a_large_fleet_holds_its_forecasts_once_a_day(
    services: Services, clock: StandingClock
) -> None:
    clock.now = NOW
    await fill(services.store, SMALL_FLEET + 1)
    moments = []
    for hours in (0, 2, 24):
        clock.move(timedelta(hours=hours))
        await sum_up_fleet(services)
        async with services.store.reading() as connection:
            kept = await view_rows.kept_figures(connection, FIGURES)
        moments.append((kept[SHARES][0], kept[HELD][0]))

    assert [shares == held for shares, held in moments] == [True, False, True]


async def test_forecasts_for_a_threshold_that_nobody_watches_any_more_are_left_out(
    services: Services, clock: StandingClock
) -> None:
    clock.now = START
    laptop = await new_laptop(services)
    await fade_through(services, clock, laptop, [0.1, 0.12, 0.14])
    before = (await figures(services))["held"][0]["forecasts"]
    async with services.store.writing() as connection:
        await connection.execute(update(assessments).values(plan_wear=0.25))

    assert before == 1
    assert (await figures(services))["held"][0]["forecasts"] == 0
