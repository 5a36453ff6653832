"""The order list that is kept: what makes it new, and who shares one."""

import asyncio
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import delete, event, update

from fadewatch_collector.rules.stock import StockFigures
from fadewatch_collector.store import tables
from fadewatch_collector.usecases.order_csv import stream_order_csv
from fadewatch_collector.usecases.order_lists import FRESH_FOR, OrderLists
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import set_stock
from tests.fakes.clock import StandingClock
from tests.fleet import technician
from tests.integration.counting import counted
from tests.integration.postgres import DATABASES
from tests.order_fleet import BROOK_KEY, FIVE, fit

ON = DATABASES


@pytest.fixture
async def orders(services: Services) -> OrderLists:
    """Lists that are kept however small they are, of a fleet of five packs."""
    await fit(services, *FIVE)
    return OrderLists(services, held_from=1)


async def take_out_a_pack(services: Services) -> None:
    """Let a laptop report that its pack is gone."""
    async with services.store.writing() as connection:
        await connection.execute(
            update(tables.slot_stays)
            .where(tables.slot_stays.c.pack_id == 1)
            .values(until_at=services.clock())
        )


async def test_a_change_of_stock_shows_at_once(
    orders: OrderLists, services: Services
) -> None:
    pat = await technician(services)
    before = await orders.present()
    bought = StockFigures(on_hand=1)
    await set_stock(services, BROOK_KEY, bought, pat, version=0)
    after = await orders.present()
    # The same moment and another number: the version tells them apart.
    await set_stock(services, BROOK_KEY, replace(bought, on_hand=0), pat, version=1)
    again = await orders.present()

    to_buy = [one.found.to_buy[0].central for one in (before, after, again)]
    assert to_buy == [1, 0, 1]


async def test_those_who_ask_at_the_same_time_share_one_list(
    orders: OrderLists, services: Services
) -> None:
    with counted(services) as alone:
        await OrderLists(services).present()
    with counted(services) as together:
        shared = await asyncio.gather(*(orders.present() for _ in range(5)))
    with counted(services) as afterwards:
        kept = await orders.present()

    assert {id(one.found) for one in shared} == {id(kept.found)}
    # Five looks at what has changed, and the two questions of one draw.
    assert together.count - alone.count == 4 * afterwards.count


async def test_one_who_goes_away_takes_the_list_from_nobody(
    orders: OrderLists, services: Services
) -> None:
    hasty, patient = (asyncio.create_task(orders.present()) for _ in range(2))

    def go_away(_c: object, _k: object, statement: str, *_more: object) -> None:
        if "slot_stays" in statement:
            hasty.cancel()

    engine = services.store.engine.sync_engine
    event.listen(engine, "before_cursor_execute", go_away)
    drawn = await patient
    event.remove(engine, "before_cursor_execute", go_away)

    assert drawn.found.fitted == len(FIVE)
    assert hasty.cancelled()


async def test_the_next_day_has_a_list_of_its_own(
    orders: OrderLists, clock: StandingClock
) -> None:
    clock.now = clock.now.replace(hour=23, minute=59)
    today = await orders.present()
    clock.move(timedelta(minutes=2))
    tomorrow = await orders.present()

    assert tomorrow.found.today - today.found.today == timedelta(days=1)
    assert tomorrow.made_at == clock()


async def test_what_laptops_report_shows_when_the_list_is_old_enough(
    orders: OrderLists, services: Services, clock: StandingClock
) -> None:
    first = await orders.present()
    await take_out_a_pack(services)
    clock.move(FRESH_FOR - timedelta(seconds=1))
    kept = await orders.present()
    clock.move(timedelta(seconds=1))
    new = await orders.present()

    assert kept.found is first.found
    assert new.found.fitted == first.found.fitted - 1


async def test_a_small_fleet_has_a_new_list_each_time(
    orders: OrderLists, services: Services
) -> None:
    small = OrderLists(services)
    first = await small.present()
    await take_out_a_pack(services)

    assert (await small.present()).found.fitted == first.found.fitted - 1


async def test_a_change_of_policy_or_of_the_register_shows_at_once(
    orders: OrderLists, services: Services
) -> None:
    lists = [await orders.present()]
    async with services.store.writing() as connection:
        await connection.execute(
            tables.policies.insert().values(
                scope="fleet",
                changes={"plan_wear": 0.25},
                changed_at=services.clock(),
                changed_by="pat",
            )
        )
    lists.append(await orders.present())
    async with services.store.writing() as connection:
        await connection.execute(delete(tables.policies))
    lists.append(await orders.present())
    async with services.store.writing() as connection:
        await connection.execute(
            tables.removed_packs.insert().values(
                pack_id=1,
                laptop_id=1,
                slot="BAT0",
                state="removed",
                removed_at=services.clock(),
                removed_by="pat",
                changed_at=services.clock(),
            )
        )
    lists.append(await orders.present())

    assert len({id(one.found) for one in lists}) == len(lists)
    assert lists[-1].found.fitted == len(FIVE) - 1


async def test_a_file_says_what_the_page_says(
    orders: OrderLists, services: Services
) -> None:
    await orders.present()
    await take_out_a_pack(services)
    rows = b"".join([piece async for piece in stream_order_csv(orders)]).decode()

    assert f'"all types",,,,,,,,,{len(FIVE)},' in rows
