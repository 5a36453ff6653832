"""What people did stands in the trails, and goes to the right name."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select

from fadewatch_collector.errors import ChangedMeanwhile, InvalidRequest, NotFound
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store.audit import trail_of
from fadewatch_collector.store.tables import alerts, swaps
from fadewatch_collector.usecases import alert_actions, inspections, removed
from fadewatch_collector.usecases.laptop_trail import alert_view
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import confirm_swap, reject_swap
from fadewatch_common.report import Pack
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, live, new_laptop, rows, technician
from tests.integration.postgres import DATABASES
from tests.reports import LAPTOP, PACK, make_report

ON = DATABASES

WORN = replace(PACK, full_charge_capacity=38_000)
NEW = replace(PACK, serial="90001", full_charge_capacity=57_000, cycle_count=1)


@pytest.fixture
async def pat(services: Services) -> Operator:
    return await technician(services)


@pytest.fixture
async def kim(services: Services) -> Operator:
    return await technician(services, "kim")


@pytest.fixture
async def laptop_id(services: Services) -> int:
    return await new_laptop(services)


async def days(
    services: Services, clock: StandingClock, laptop_id: int, pack: Pack, count: int
) -> None:
    for _ in range(count):
        clock.move(DAY)
        await live(services, laptop_id, make_report(clock(), (pack,)))


async def worn_alert(
    services: Services, clock: StandingClock, laptop_id: int
) -> tuple[int, int]:
    """Wear a pack past the plan threshold; return the alert's number and version."""
    await days(services, clock, laptop_id, WORN, 5)
    query = select(alerts.c.id, alerts.c.version).where(alerts.c.kind == "wear-plan")
    ((number, version),) = await rows(services, query)
    return number, version


async def actions(services: Services, subject: str) -> list[str]:
    async with services.store.reading() as connection:
        lines = await trail_of(connection, [subject], limit=50)
    return [line.action for line in reversed(lines)]


async def test_a_note_written_since_is_not_taken_for_the_change(
    services: Services,
    clock: StandingClock,
    laptop_id: int,
    pat: Operator,
    kim: Operator,
) -> None:
    number, version = await worn_alert(services, clock, laptop_id)
    await alert_actions.acknowledge(services, number, version, pat)
    acknowledged_at = clock()
    clock.move(timedelta(hours=3))
    await alert_actions.add_note(services, number, kim, "seen it too")

    with pytest.raises(ChangedMeanwhile) as told:
        await alert_actions.end(services, number, version, kim, "done")

    assert (told.value.who, told.value.when) == ("pat", acknowledged_at)


async def test_an_alert_that_ended_by_itself_is_laid_on_nobody(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    number, version = await worn_alert(services, clock, laptop_id)
    await alert_actions.acknowledge(services, number, version, pat)
    await days(services, clock, laptop_id, PACK, 40)
    assert (await alert_view(services, number)).alert.state == "ended"

    with pytest.raises(ChangedMeanwhile, match="the collector itself") as told:
        await alert_actions.end(services, number, version + 1, pat, "done")

    assert told.value.who is None


async def test_a_planned_day_goes_when_the_plan_is_dropped(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    number, version = await worn_alert(services, clock, laptop_id)
    day = clock().date() + DAY
    await alert_actions.plan(services, number, version, pat, day)

    await alert_actions.acknowledge(services, number, version + 1, pat)

    alert = (await alert_view(services, number)).alert
    assert (alert.state, alert.planned_on) == ("acknowledged", None)


async def test_an_operator_is_found_however_the_name_is_spelt(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    number, version = await worn_alert(services, clock, laptop_id)

    await alert_actions.hand_over(services, number, version, pat, " PAT ")

    assert (await alert_view(services, number)).alert.assigned_name == "pat"
    for name in ("", "a\0b", "x" * 500):
        with pytest.raises(NotFound):
            await alert_actions.hand_over(services, number, version + 1, pat, name)


async def test_what_cannot_be_shown_is_no_note(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    number, _ = await worn_alert(services, clock, laptop_id)

    with pytest.raises(InvalidRequest, match="cannot be shown"):
        await alert_actions.add_note(services, number, pat, "a\0b")
    with pytest.raises(InvalidRequest, match="cannot be shown"):
        await inspections.inspect(services, laptop_id, pat, signs=[], note="a\x1bb")
    await alert_actions.add_note(services, number, pat, "two\r\nlines")


async def test_a_note_of_blanks_is_none(
    services: Services, laptop_id: int, pat: Operator
) -> None:
    await inspections.inspect(services, laptop_id, pat, signs=[], note="  \n")

    (kept,) = await inspections.list_inspections(services, laptop_id=laptop_id)
    assert kept.note is None


async def test_an_inspection_stands_in_the_packs_trail_too(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, PACK, 1)

    await inspections.inspect(services, laptop_id, pat, signs=[])

    assert await actions(services, "pack:1") == ["inspected"]
    assert (await actions(services, f"laptop:{laptop_id}"))[-1] == "inspected"


async def one_swap(
    services: Services, clock: StandingClock, laptop_id: int
) -> tuple[int, int, int]:
    """Put a new pack in a worn one's place: the swap and both packs, by number."""
    await days(services, clock, laptop_id, WORN, 3)
    await days(services, clock, laptop_id, NEW, 1)
    column = swaps.c
    query = select(column.id, column.old_pack_id, column.new_pack_id)
    ((swap, old, new),) = await rows(services, query)
    return swap, old, new


async def test_a_rejected_swap_stands_in_the_trails_of_both_packs(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    swap, old, new = await one_swap(services, clock, laptop_id)

    await reject_swap(services, swap, pat)

    assert (await actions(services, f"pack:{old}"))[-1] == "swap rejected"
    assert (await actions(services, f"pack:{new}"))[-1] == "swap rejected"


async def test_a_pack_that_moved_to_another_laptop_was_not_removed(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    await days(services, clock, laptop_id, WORN, 5)
    other = await new_laptop(services, "BM-2", replace(LAPTOP, board_uuid=None))
    spare = replace(NEW, serial="90002")
    await days(services, clock, other, spare, 1)
    clock.move(DAY)
    await live(services, laptop_id, make_report(clock(), (NEW,)))
    clock.move(timedelta(hours=1))
    await live(services, other, make_report(clock(), (WORN,)))
    query = select(swaps.c.id, swaps.c.old_pack_id)
    ((swap, old),) = await rows(services, query.where(swaps.c.laptop_id == laptop_id))

    await confirm_swap(services, swap, pat, swollen=False)

    assert await removed.list_removed(services) == []
    standing = select(alerts.c.kind).where(
        alerts.c.pack_id == old, alerts.c.state != "ended"
    )
    assert ("wear-plan",) in await rows(services, standing)


async def test_a_note_stays_when_a_pack_is_set_aside_again(
    services: Services, clock: StandingClock, laptop_id: int, pat: Operator
) -> None:
    swap, _, _ = await one_swap(services, clock, laptop_id)
    await confirm_swap(services, swap, pat, swollen=False)

    await removed.set_aside(
        services, 1, 1, pat, place="box", swollen=None, note="corner dented"
    )
    await removed.set_aside(services, 1, 2, pat, place="shelf", swollen=None)

    record = await removed.find_removed(services, 1)
    assert (record.place, record.note) == ("shelf", "corner dented")
    assert (record.changed_by, record.version) == ("pat", 3)
