"""Fill a store with an invented fleet, as if its two years had been lived through."""

import secrets
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from fadewatch_collector.errors import Conflict
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.rules.stock import StockFigures
from fadewatch_collector.simulation.demo import Delivery, DemoLaptop, demo_fleet
from fadewatch_collector.simulation.demo.stock import DEMO_STOCK
from fadewatch_collector.store import demo as demo_rows
from fadewatch_collector.store import intake as rows
from fadewatch_collector.store.places import set_place
from fadewatch_collector.store.search import refresh_terms
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.values import get_value, set_value
from fadewatch_collector.usecases.accounts import add_operator
from fadewatch_collector.usecases.alerts import look_for_silent
from fadewatch_collector.usecases.assessing import assess_all
from fadewatch_collector.usecases.charging import tell_habits
from fadewatch_collector.usecases.demo_visits import (
    plan_demo_visits,
    visit_for_swap,
)
from fadewatch_collector.usecases.enrolment import enrol, make_token
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.fleet_figures import sum_up_fleet
from fadewatch_collector.usecases.forecasts import keep_forecasts
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import list_stock, set_stock
from fadewatch_collector.usecases.swaps import confirm_swap, judge_swaps
from fadewatch_common.encoding import to_json

STEP = timedelta(days=14)
"""How much of the fleet's past is lived through between two assessments. Own choice."""

CONFIRMED_AFTER = timedelta(days=21)
"""How long the demo's technician takes to confirm a swap. Own choice."""

OPERATOR = "technician"
PASSWORD_BYTES = 24
DEMO_MARK = "demo-fleet-until"

Progress = Callable[[int, int], None]
"""Called with the reports stored so far and the number of all of them."""


async def is_demo(services: Services) -> bool:
    """Say whether the store holds the demo fleet already.

    Raises
    ------
    Conflict
        It holds laptops that are not the demo's.
    """
    async with services.store.reading() as connection:
        if await get_value(connection, DEMO_MARK):
            return True
        if await demo_rows.count_laptops(connection):
            raise Conflict(
                f"the store in {services.settings.data_folder} holds a real fleet; "
                "the demo needs a data folder of its own (FADEWATCH_DATA_FOLDER)"
            )
    return False


async def fill_with_demo(services: Services, progress: Progress) -> int:
    """Store the demo fleet's reports with their own dates; returns how many.

    The past is lived through in steps, so alerts open and end on the day they would
    have. A run that was broken off begins again from an empty store only.
    """
    until = services.clock()
    fleet = demo_fleet(until)
    numbers: dict[int, int] = {}
    password = secrets.token_urlsafe(PASSWORD_BYTES)
    operator = await add_operator(services, OPERATOR, "technician", password)
    token = await make_token(
        replace(services, clock=_standing(fleet.deliveries[0].received_at)),
        label="invented fleet",
        site=None,
        lifetime=until - fleet.deliveries[0].received_at,
        use_limit=len(fleet.laptops),
        who=OPERATOR,
    )
    done = 0
    for moment, part in _steps(fleet.deliveries):
        then = replace(services, clock=_standing(moment))
        for laptop in _enrolling(fleet.laptops, numbers, moment):
            numbers[laptop.number] = await _enrol(services, token, laptop)
        async with services.store.writing() as connection:
            await _add_reports(connection, part, numbers)
        packs: set[int] = set()
        while (filed := await file_waiting(then, limit=2_000)).reports:
            packs |= filed.packs
        await assess_all(then)
        await keep_forecasts(then)
        await judge_swaps(then, packs)
        await look_for_silent(then)
        await _confirm_old_swaps(then, operator)
        done += len(part)
        progress(done, len(fleet.deliveries))
    await assess_all(services)
    await tell_habits(services)
    await look_for_silent(services)
    await sum_up_fleet(services)
    await _enter_stock(services, operator)
    await plan_demo_visits(services, operator)
    async with services.store.writing() as connection:
        await set_value(connection, DEMO_MARK, until.isoformat())
    return done


async def _enter_stock(services: Services, operator: Operator) -> None:
    """Enter what a technician knows of most pack types, and of some not."""
    today = services.clock().date()
    for one in await list_stock(services):
        known = DEMO_STOCK.get(one.type.model or "")
        if known is None or one.type.doubts:
            continue
        arrives = known.arrives_in
        figures = StockFigures(
            on_hand=known.on_hand,
            on_order=known.on_order,
            expected_on=None if arrives is None else today + timedelta(days=arrives),
            lead_time_days=known.lead_days,
            price_minor=known.cents,
            currency=None if known.cents is None else services.settings.currency,
            note=known.note,
        )
        await set_stock(services, one.type.key, figures, operator, version=one.version)


async def _confirm_old_swaps(services: Services, operator: Operator) -> None:
    """Do what the technician of a well-kept fleet does; the newest swaps wait."""
    before = services.clock() - CONFIRMED_AFTER
    async with services.store.reading() as connection:
        waiting = await demo_rows.right_swaps_before(connection, before)
    for swap_id in waiting:
        await visit_for_swap(services, swap_id, operator)
        await confirm_swap(services, swap_id, operator, swollen=False)


def _standing(moment: datetime) -> Callable[[], datetime]:
    return lambda: moment


def _steps(
    deliveries: Iterable[Delivery],
) -> Iterator[tuple[datetime, list[Delivery]]]:
    part: list[Delivery] = []
    for delivery in deliveries:
        if part and delivery.received_at - part[0].received_at >= STEP:
            yield part[-1].received_at, part
            part = []
        part.append(delivery)
    if part:
        yield part[-1].received_at, part


def _enrolling(
    laptops: Iterable[DemoLaptop], known: dict[int, int], moment: datetime
) -> Iterator[DemoLaptop]:
    return (
        laptop
        for laptop in laptops
        if laptop.number not in known and laptop.enrolled_at <= moment
    )


async def _enrol(services: Services, token: str, laptop: DemoLaptop) -> int:
    then = replace(services, clock=_standing(laptop.enrolled_at))
    enrolled = await enrol(then, token, laptop.laptop, laptop.agent)
    place = laptop.place
    async with services.store.writing() as connection:
        await set_place(
            connection,
            enrolled.laptop_id,
            {
                "asset_tag": place.asset_tag,
                "holder": place.holder,
                "site": place.site,
            },
        )
        await refresh_terms(connection, [enrolled.laptop_id])
    return enrolled.laptop_id


async def _add_reports(
    connection: WriteConnection, part: list[Delivery], numbers: dict[int, int]
) -> None:
    await rows.add_reports(
        connection,
        [
            {
                "report_id": delivery.report.report_id,
                "laptop_id": numbers[delivery.laptop],
                "measured_at": delivery.report.measured_at,
                "received_at": delivery.received_at,
                "body": to_json(delivery.report),
            }
            for delivery in part
        ],
    )
    newest = {numbers[one.laptop]: one.received_at for one in part}
    await rows.note_contact(connection, newest)
