"""Packs that tell no serial, units that change, capacities that are not told."""

from dataclasses import replace
from datetime import date, timedelta

from sqlalchemy import select

from fadewatch_collector.store.histories import load_histories
from fadewatch_collector.store.tables import (
    alerts,
    daily_capacity,
    packs,
    readings,
    slot_stays,
    swaps,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_common.report import Pack
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, deliver, live, new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import PACK, make_report

ON = DATABASES
NAMELESS = replace(PACK, serial="0", cycle_count=None)


def holding(capacity: int) -> Pack:
    return replace(NAMELESS, full_charge_capacity=capacity)


async def days(
    services: Services, clock: StandingClock, laptop_id: int, *found: Pack
) -> date:
    """Let a laptop report each pack on a day of its own; returns the first day."""
    first = clock().date() + DAY
    for pack in found:
        clock.move(DAY)
        await live(services, laptop_id, make_report(clock(), (pack,)))
    return first


async def test_readings_that_turn_out_to_be_another_packs_are_moved_to_it(
    services: Services, clock: StandingClock
) -> None:
    laptop_id = await new_laptop(services)
    old = [holding(38000)] * 6
    new = [holding(57000), holding(56900), holding(57100)]
    first = await days(services, clock, laptop_id, *old, *new, new[0])

    swapped_on = first + timedelta(days=6)
    column = daily_capacity.c
    by_day = select(column.pack_id, column.day, column.full_charge_capacity)
    assert await rows(services, by_day.order_by(column.day)) == [
        *((1, first + timedelta(days=n), 38000.0) for n in range(6)),
        (2, swapped_on, 57000.0),
        (2, swapped_on + DAY, 56900.0),
        (2, swapped_on + 2 * DAY, 57100.0),
        (2, swapped_on + 3 * DAY, 57000.0),
    ]
    of_pack = select(readings.c.pack_id).order_by(readings.c.measured_at)
    assert [n for (n,) in await rows(services, of_pack)] == [1] * 6 + [2] * 4
    told = select(swaps.c.old_pack_id, swaps.c.new_pack_id, swaps.c.at, swaps.c.wrong)
    ((before, after, at, wrong),) = await rows(services, told)
    assert (before, after, at.date(), wrong) == (1, 2, swapped_on, [])
    stays = select(slot_stays.c.pack_id, slot_stays.c.until_at.is_(None))
    assert sorted(await rows(services, stays)) == [(1, False), (2, True)]
    known = select(packs.c.full_charge_capacity).order_by(packs.c.id)
    assert await rows(services, known) == [(38000,), (57000,)]


async def test_a_whole_spool_that_holds_a_swap_gives_the_same(
    services: Services, clock: StandingClock
) -> None:
    laptop_id = await new_laptop(services)
    found = [holding(38000)] * 6 + [holding(57000)] * 4
    first = clock()
    clock.move(30 * DAY)
    batch = [make_report(first + n * DAY, (pack,)) for n, pack in enumerate(found)]
    await deliver(services, laptop_id, batch)

    of_pack = select(readings.c.pack_id).order_by(readings.c.measured_at)
    assert [n for (n,) in await rows(services, of_pack)] == [1] * 6 + [2] * 4
    assert len(await rows(services, select(swaps.c.id))) == 1


async def test_a_change_of_unit_does_not_cut_a_history(
    services: Services, clock: StandingClock
) -> None:
    laptop_id = await new_laptop(services)
    in_mah = replace(PACK, unit="mAh", design_capacity=5000, full_charge_capacity=4750)
    percent = replace(
        PACK, unit="relative", design_capacity=None, full_charge_capacity=100
    )
    await days(services, clock, laptop_id, *[PACK] * 5, in_mah, in_mah, percent)

    async with services.store.reading() as connection:
        histories = await load_histories(connection, [1])
    assert histories.design.tolist() == [57000.0] * 7
    assert histories.full.tolist() == [54150.0] * 7


async def test_readings_that_tell_no_capacity_end_no_alert(
    services: Services, clock: StandingClock
) -> None:
    laptop_id = await new_laptop(services)
    await days(services, clock, laptop_id, *[holding(37000)] * 5)
    untold = replace(NAMELESS, design_capacity=None, full_charge_capacity=None)
    await days(services, clock, laptop_id, *[untold] * 20)

    query = select(alerts.c.kind, alerts.c.state)
    assert ("wear-plan", "open") in await rows(services, query)
