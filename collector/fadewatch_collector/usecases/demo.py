"""Fill a store with an invented fleet, as if its two years had been lived through."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from fadewatch_collector.errors import Conflict
from fadewatch_collector.simulation.demo import Delivery, DemoLaptop, demo_fleet
from fadewatch_collector.store import demo as demo_rows
from fadewatch_collector.store import enrolment as laptop_rows
from fadewatch_collector.store import intake as rows
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.values import get_value, set_value
from fadewatch_collector.usecases.alerts import look_for_silent
from fadewatch_collector.usecases.assess import assess_all
from fadewatch_collector.usecases.filing import file_waiting
from fadewatch_collector.usecases.services import Services
from fadewatch_common.encoding import to_json

STEP = timedelta(days=14)
"""How much of the fleet's past is lived through between two assessments. Own choice."""

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
    done = 0
    for moment, part in _steps(fleet.deliveries):
        then = replace(services, clock=_standing(moment))
        async with services.store.writing() as connection:
            for laptop in _enrolling(fleet.laptops, numbers, moment):
                numbers[laptop.number] = await _add_laptop(connection, laptop)
            await _add_reports(connection, part, numbers)
        while (await file_waiting(then, limit=2_000)).reports:
            pass
        await assess_all(then)
        await look_for_silent(then)
        done += len(part)
        progress(done, len(fleet.deliveries))
    await assess_all(services)
    await look_for_silent(services)
    async with services.store.writing() as connection:
        await set_value(connection, DEMO_MARK, until.isoformat())
    return done


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


async def _add_laptop(connection: WriteConnection, laptop: DemoLaptop) -> int:
    place = laptop.place
    number = await laptop_rows.add_laptop(
        connection, laptop.laptop, place.site, laptop.enrolled_at
    )
    await demo_rows.set_place(connection, number, place.asset_tag, place.holder)
    return number


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
