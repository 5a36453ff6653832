"""Visits on a real store: what is due, planning, rounds, done, called off."""

import asyncio
from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import select, update

from fadewatch_collector.errors import (
    ChangedMeanwhile,
    Conflict,
    InvalidRequest,
    NotFound,
)
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store import tables
from fadewatch_collector.store.due import (
    FEW_DUE,
    DueFilter,
    DueLaptop,
    due_counts,
)
from fadewatch_collector.usecases import alert_actions, inspections
from fadewatch_collector.usecases.laptop_trail import laptop_trail
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visit_lists import (
    DueList,
    Visit,
    Wanted,
    due_list,
    due_part,
    list_visits,
)
from fadewatch_collector.usecases.visit_outcomes import (
    call_off_visit,
    find_visit,
    finish_visit,
    record_visit,
)
from fadewatch_collector.usecases.visits import (
    Plan,
    move_visit,
    plan_round,
    plan_visits,
)
from fadewatch_collector.usecases.visits_csv import (
    VISITS_CSV_COLUMNS,
    stream_visits_csv,
)
from tests.fakes.clock import StandingClock
from tests.fixtures.shown_fleet import STOP_USE_LAPTOP, fill
from tests.fleet import rows, technician
from tests.integration.counting import counted
from tests.integration.postgres import DATABASES

ON = DATABASES

LAPTOPS = 24
WORN = 10
"""Its pack ends at 34 % wear: past the plan threshold."""


@pytest.fixture
async def pat(services: Services) -> Operator:
    await fill(services.store, services.clock(), LAPTOPS)
    return await technician(services)


async def due(
    services: Services,
    within_days: int = 0,
    *,
    wanted: Wanted = "due",
    site: str | None = None,
    cursor: str | None = None,
    limit: int = 50,
) -> DueList:
    return await due_list(
        services,
        within_days=within_days,
        wanted=wanted,
        site=site,
        cursor=cursor,
        limit=limit,
    )


def ids(shown: DueList) -> list[int]:
    return [entry.sheet.laptop.id for entry in shown.entries]


def tomorrow(services: Services) -> date:
    return services.clock().date() + timedelta(days=1)


async def one_visit(services: Services, pat: Operator) -> int:
    plan = Plan(on=tomorrow(services), assigned_to="pat", note="ring first")
    return (await plan_visits(services, [WORN], plan, pat)).visit_ids[0]


async def test_who_must_stop_comes_first_then_sites_in_order(
    services: Services, pat: Operator
) -> None:
    shown = await due(services, 90)
    places = [
        (not entry.sheet.stop_use, entry.sheet.laptop.site is None, site or "")
        for entry in shown.entries
        for site in [entry.sheet.laptop.site]
    ]

    assert ids(shown)[0] == STOP_USE_LAPTOP
    assert places == sorted(places)
    assert len({place[2] for place in places}) > 2


async def test_pages_of_the_list_are_the_list(
    services: Services, pat: Operator
) -> None:
    whole = ids(await due(services, 90))
    paged: list[int] = []
    cursor = None
    while True:
        part = await due(services, 90, cursor=cursor, limit=3)
        paged += ids(part)
        cursor = part.next_cursor
        if cursor is None:
            break

    assert len(whole) > 6
    assert paged == whole


async def test_a_list_of_many_is_that_of_few_cut_elsewhere(
    services: Services, pat: Operator
) -> None:
    await one_visit(services, pat)
    until = services.clock().date() + timedelta(days=90)
    kinds: tuple[Wanted, ...] = ("due", "not planned", "planned")
    async with services.store.reading() as connection:
        for wanted in (DueFilter(until=until, wanted=kind) for kind in kinds):
            few = await due_part(connection, wanted, None, 99, 0)
            many: list[DueLaptop] = []
            while part := await due_part(
                connection, wanted, many[-1].key if many else None, 2, FEW_DUE + 1
            ):
                many += part
            assert few
            assert many == few
            counts = await due_counts(connection, wanted)
            assert sum(count.due for count in counts) == len(few)


async def test_a_longer_look_ahead_finds_no_less(
    services: Services, pat: Operator
) -> None:
    found = [set(ids(await due(services, days))) for days in (0, 90, 3650)]

    assert found[0] <= found[1] <= found[2]
    assert found[0] < found[2]
    assert WORN in found[0]


async def test_the_counts_are_those_of_the_list(
    services: Services, pat: Operator
) -> None:
    await one_visit(services, pat)
    shown = await due(services, 90)
    by_site: dict[str | None, int] = {}
    for entry in shown.entries:
        site = entry.sheet.laptop.site
        by_site[site] = by_site.get(site, 0) + 1

    assert {count.site: count.due for count in shown.counts} == by_site
    assert sum(count.planned for count in shown.counts) == 1
    assert sum(count.stop_use for count in shown.counts) == 1


async def test_planning_joins_the_open_alerts_and_leaves_stop_use_alone(
    services: Services, pat: Operator
) -> None:
    alerts = tables.alerts.c
    plan = Plan(on=tomorrow(services))

    await plan_visits(services, [WORN, STOP_USE_LAPTOP], plan, pat)

    query = select(alerts.state, alerts.planned_on, alerts.urgency).where(
        alerts.laptop_id.in_([WORN, STOP_USE_LAPTOP]), alerts.state != "ended"
    )
    states = await rows(services, query)
    assert ("planned", tomorrow(services), "plan") in states
    assert all(
        (state == "planned") == (urgency != "stop-use") for state, _, urgency in states
    )
    assert any(urgency == "stop-use" for *_, urgency in states)


async def test_an_alert_planned_with_a_visit_is_not_changed_by_who_saw_it_before(
    services: Services, pat: Operator
) -> None:
    alerts = tables.alerts.c
    query = select(alerts.id, alerts.version).where(alerts.laptop_id == WORN)
    ((number, version), *_) = await rows(services, query)
    await one_visit(services, pat)

    with pytest.raises(ChangedMeanwhile, match="planned by pat"):
        await alert_actions.acknowledge(services, number, version, pat)


async def test_alerts_stay_as_they_are_when_they_are_not_to_be_planned(
    services: Services, pat: Operator
) -> None:
    plan = Plan(on=tomorrow(services), with_alerts=False)

    made = await plan_visits(services, [WORN], plan, pat)

    assert made.alerts == 0
    states = select(tables.alerts.c.state).where(tables.alerts.c.laptop_id == WORN)
    assert ("planned",) not in await rows(services, states)


async def test_a_visit_is_planned_once_at_a_laptop(
    services: Services, pat: Operator
) -> None:
    number = await one_visit(services, pat)
    plan = Plan(on=tomorrow(services))

    with pytest.raises(Conflict, match="planned for"):
        await plan_visits(services, [WORN], plan, pat)
    with pytest.raises(Conflict, match="planned for"):
        await record_visit(services, WORN, pat, work=["nothing"])

    assert [one.id for one in await planned_visits(services)] == [number]


async def test_two_who_plan_at_once_make_one_visit(
    services: Services, pat: Operator
) -> None:
    plan = Plan(on=tomorrow(services))
    outcomes = await asyncio.gather(
        *(plan_visits(services, [WORN], plan, pat) for _ in range(4)),
        return_exceptions=True,
    )

    assert sum(isinstance(outcome, Conflict) for outcome in outcomes) == 3
    assert len(await planned_visits(services)) == 1


async def test_all_or_none_are_planned(services: Services, pat: Operator) -> None:
    for laptops, error in (([WORN, 999], NotFound), ([], InvalidRequest)):
        with pytest.raises(error):
            await plan_visits(services, laptops, Plan(on=tomorrow(services)), pat)
    yesterday = services.clock().date() - timedelta(days=1)
    with pytest.raises(InvalidRequest, match="past"):
        await plan_visits(services, [WORN], Plan(on=yesterday), pat)
    plan = Plan(on=tomorrow(services), assigned_to="nobody")
    with pytest.raises(NotFound, match="operator"):
        await plan_visits(services, [WORN], plan, pat)

    assert await planned_visits(services) == []


async def test_a_round_takes_what_is_due_at_the_site_but_no_laptop_to_stop_using(
    services: Services, pat: Operator
) -> None:
    site = (await find_site(services, STOP_USE_LAPTOP)) or ""
    before = await due(services, 90, site=site)
    wanted = {number for number in ids(before) if number != STOP_USE_LAPTOP}

    made = await plan_round(services, site, 90, Plan(on=tomorrow(services)), pat)

    planned = await planned_visits(services)
    assert {visit.laptop_id for visit in planned} == wanted
    assert len(made.visit_ids) == len(wanted)
    with pytest.raises(InvalidRequest, match="waits for a round"):
        await plan_round(services, site, 90, Plan(on=tomorrow(services)), pat)


async def planned_visits(services: Services) -> list[Visit]:
    return await list_visits(services, states=["planned"])


async def find_site(services: Services, laptop_id: int) -> str | None:
    laptop = tables.laptops.c
    ((site,),) = await rows(services, select(laptop.site).where(laptop.id == laptop_id))
    assert site is None or isinstance(site, str)
    return site


async def test_a_laptop_visited_since_its_last_report_is_in_no_round(
    services: Services, pat: Operator, clock: StandingClock
) -> None:
    await record_visit(services, WORN, pat, work=["pack"])
    clock.move(timedelta(hours=1))
    site = await find_site(services, WORN)

    shown = await due(services)
    await plan_round(services, site, 90, Plan(on=tomorrow(services)), pat)

    (entry,) = (e for e in shown.entries if e.sheet.laptop.id == WORN)
    assert entry.waits_for_report
    planned = await planned_visits(services)
    assert WORN not in {visit.laptop_id for visit in planned}


async def test_a_planned_visit_stays_in_the_list_when_nothing_is_due_any_more(
    services: Services, pat: Operator
) -> None:
    (sound, *_) = sorted(set(range(1, LAPTOPS + 1)) - set(ids(await due(services))))

    await plan_visits(services, [sound], Plan(on=tomorrow(services)), pat)

    assert sound in ids(await due(services))
    assert ids(await due(services, wanted="planned")) == [sound]
    assert sound not in ids(await due(services, wanted="not planned"))


async def test_a_day_that_is_past_is_overdue(
    services: Services, pat: Operator, clock: StandingClock
) -> None:
    await one_visit(services, pat)
    clock.move(timedelta(days=2))

    (entry,) = (await due(services, wanted="planned")).entries

    assert entry.is_overdue(services.clock().date())
    assert not entry.is_overdue(services.clock().date() - timedelta(days=1))


async def test_what_was_done_stands_in_the_laptops_trail_and_ends_no_alert(
    services: Services, pat: Operator
) -> None:
    number = await one_visit(services, pat)

    await finish_visit(
        services, number, 1, pat, work=["hinges", "pack"], found="left one loose"
    )

    visit = await find_visit(services, number)
    assert (visit.state, visit.work) == ("done", ["pack", "hinges"])
    assert visit.matters == ["New pack for slot BAT0"]
    line = (await laptop_trail(services, WORN))[0]
    assert (line.action, line.who) == ("visit done", "pat")
    assert line.detail == {
        "visit": number,
        "work": ["pack", "hinges"],
        "note": "left one loose",
    }
    states = select(tables.alerts.c.state).where(tables.alerts.c.laptop_id == WORN)
    assert ("planned",) in await rows(services, states)


async def test_a_visit_is_moved_and_called_off_by_whoever_saw_it_last(
    services: Services, pat: Operator
) -> None:
    number = await one_visit(services, pat)
    later = Plan(on=tomorrow(services) + timedelta(days=7))

    await move_visit(services, number, 1, later, pat)
    with pytest.raises(ChangedMeanwhile, match="changed by pat"):
        await finish_visit(services, number, 1, pat, work=["nothing"])
    with pytest.raises(InvalidRequest, match="say why"):
        await call_off_visit(services, number, 2, pat, "  ")
    await call_off_visit(services, number, 2, pat, "retired")

    visit = await find_visit(services, number)
    assert (visit.state, visit.found, visit.assigned_name) == (
        "called off",
        "retired",
        None,
    )
    with pytest.raises(Conflict, match="called off"):
        await move_visit(services, number, 3, later, pat)
    await plan_visits(services, [WORN], Plan(on=tomorrow(services)), pat)


@pytest.mark.parametrize(
    ("work", "why"),
    [
        ([], "say what was done"),
        (["nothing", "pack"], "either nothing"),
        (["lid"], "none of"),
    ],
)
async def test_what_was_done_is_said_in_known_words(
    services: Services, pat: Operator, work: list[str], why: str
) -> None:
    with pytest.raises(InvalidRequest, match=why):
        await record_visit(services, WORN, pat, work=work)


async def test_reported_signs_put_a_laptop_at_the_head_of_the_list(
    services: Services, pat: Operator
) -> None:
    await inspections.inspect(services, WORN, pat, signs=["rocks"])

    shown = await due(services)

    assert WORN in ids(shown)[:2]
    (entry,) = (e for e in shown.entries if e.sheet.laptop.id == WORN)
    assert entry.sheet.stop_use
    assert not entry.sheet.opens


async def test_a_sites_policy_decides_what_memory_to_bring(
    services: Services, pat: Operator
) -> None:
    laptop = tables.laptops
    slots = [
        {"locator": "DIMM A", "size_mib": 16_384},
        {"locator": "DIMM B", "size_mib": 0},
    ]
    site = await find_site(services, WORN)
    async with services.store.writing() as connection:
        await connection.execute(
            update(laptop)
            .where(laptop.c.id == WORN)
            .values(memory={"total_mib": 16_384, "slots": slots})
        )
        await connection.execute(
            tables.policies.insert().values(
                scope=f"site:{site}",
                changes={"least_memory_mib": 32_768},
                changed_at=services.clock(),
                changed_by="pat",
            )
        )

    (entry,) = (e for e in (await due(services)).entries if e.sheet.laptop.id == WORN)

    assert "One 16 GiB module for the empty slot DIMM B." in entry.sheet.bring


async def test_a_place_from_a_page_that_moved_is_refused(
    services: Services, pat: Operator
) -> None:
    cursor = (await due(services, 90, limit=3)).next_cursor
    async with services.store.writing() as connection:
        await connection.execute(update(tables.laptops).values(site=None))

    with pytest.raises(InvalidRequest, match="first page"):
        await due(services, 90, cursor=cursor)


async def test_the_csv_has_what_is_due_then_what_is_over(
    services: Services, pat: Operator
) -> None:
    number = await one_visit(services, pat)
    await finish_visit(services, number, 1, pat, work=["cleaned"], found="=1+1")
    lines = [piece async for piece in stream_visits_csv(services, within_days=0)]
    text = b"".join(lines).decode()
    table = [line.split(",") for line in text.split("\r\n") if line]

    assert tuple(table[0]) == VISITS_CSV_COLUMNS
    states = [row[0] for row in table[1:]]
    assert states == ['"due"'] * len(ids(await due(services))) + ['"done"']
    assert table[1][1] == '"yes"'
    assert '"\'=1+1"' in text.splitlines()[-1]


async def test_the_list_asks_as_many_questions_however_long_it_is(
    services: Services, pat: Operator
) -> None:
    with counted(services) as few:
        await due(services, 90, limit=2)
    with counted(services) as many:
        await due(services, 90, limit=50)

    assert few.count == many.count
    assert many.count <= 12


async def test_a_visit_there_is_not_is_not_found(
    services: Services, pat: Operator
) -> None:
    with pytest.raises(NotFound):
        await find_visit(services, 999)
    with pytest.raises(NotFound):
        await move_visit(services, 999, 1, Plan(on=tomorrow(services)), pat)
    other = replace(pat, name="kim")
    with pytest.raises(NotFound):
        await record_visit(services, 999, other, work=["nothing"])
