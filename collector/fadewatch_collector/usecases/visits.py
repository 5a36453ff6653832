"""Plan visits: at some laptops, at a whole site, on another day.

Each takes the version that the person saw: when somebody changed the visit meanwhile,
nothing happens and the answer says who and when.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from fadewatch_collector.errors import (
    InvalidRequest,
    NotFound,
)
from fadewatch_collector.rules.operators import Operator, clean_name, name_problem
from fadewatch_collector.rules.visit_terms import due_until
from fadewatch_collector.store import alert_actions as alert_rows
from fadewatch_collector.store import audit, due
from fadewatch_collector.store import visits as rows
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visit_changes import (
    change,
    checked_note,
    new_row,
    open_entries,
    planned_visit,
    tell,
)

MOST_AT_ONCE = 500
"""Visits planned at once [count]. Own choice."""

NAME_SHOWN = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is planned.

    Attributes
    ----------
    assigned_to
        Name of an operator; None is nobody yet.
    with_alerts
        Mark the laptop's open alerts as planned for that day too; what says stop use
        stays as it is.
    """

    on: date
    assigned_to: str | None = None
    note: str | None = None
    with_alerts: bool = True


@dataclass(frozen=True, slots=True)
class Planned:
    """Visits that were planned, and how many alerts with them [count].

    Attributes
    ----------
    visit_ids
        In the order in which the laptops were named.
    more
        Laptops are due that this round had no room for.
    """

    visit_ids: Sequence[int]
    alerts: int
    more: bool = False


async def plan_visits(
    services: Services, laptop_ids: Collection[int], plan: Plan, operator: Operator
) -> Planned:
    """Plan a visit at each of some laptops, all or none.

    Raises
    ------
    InvalidRequest
        The day is past, there is no laptop, or they are too many.
    NotFound
        There is no such laptop or operator.
    Conflict
        A visit is planned at one of them already.
    """
    wanted = list(dict.fromkeys(laptop_ids))
    if not wanted or len(wanted) > MOST_AT_ONCE:
        raise InvalidRequest(f"name 1 to {MOST_AT_ONCE} laptops")
    async with services.store.writing() as connection:
        return await _plan(connection, services, wanted, plan, operator)


async def plan_round(
    services: Services,
    site: str | None,
    within_days: int,
    plan: Plan,
    operator: Operator,
) -> Planned:
    """Plan a visit on one day at every laptop of a site that is due and not planned.

    Laptops to stop using are left out: they are pulled from use and do not wait for a
    round. So are those that have not reported since their last visit.

    Raises
    ------
    InvalidRequest
        The day is past, or nothing is due there.
    """
    until = due_until(services.clock().date(), within_days)
    wanted = due.DueFilter(until=until, wanted="not planned", site=site)
    async with services.store.writing() as connection:
        found = await due.site_laptops(connection, wanted, MOST_AT_ONCE + 1)
        if not found:
            raise InvalidRequest(
                f"no laptop {f'at {site}' if site else 'without a site'} waits for a "
                "round: what is due there is planned, visited, or to be pulled from use"
            )
        planned = await _plan(
            connection, services, found[:MOST_AT_ONCE], plan, operator
        )
    return Planned(planned.visit_ids, planned.alerts, len(found) > MOST_AT_ONCE)


async def _plan(
    connection: WriteConnection,
    services: Services,
    laptop_ids: Sequence[int],
    plan: Plan,
    operator: Operator,
) -> Planned:
    now = services.clock()
    note = checked_note(plan.note, "note")
    _check_day(plan.on, now)
    assigned = await _operator(connection, plan.assigned_to)
    entries = await open_entries(connection, services, laptop_ids, plan.on)
    values = [
        new_row(entry, now, operator)
        | {
            "state": "planned",
            "planned_on": plan.on,
            "assigned_to": assigned,
            "note": note,
        }
        for entry in entries
    ]
    numbers = await rows.add_visits(connection, values)
    for entry, number in zip(entries, numbers, strict=True):
        detail = _plan_detail(number, plan) | {"note": note}
        await tell(connection, now, operator, "visit planned", entry, detail)
    alerts = await _plan_alerts(connection, laptop_ids, plan, operator, now)
    return Planned(numbers, alerts)


async def move_visit(
    services: Services, visit_id: int, version: int, plan: Plan, operator: Operator
) -> None:
    """Set another day, person or note for a planned visit.

    Raises
    ------
    InvalidRequest
        The day is past.
    NotFound
        There is no such visit or operator.
    Conflict
        The visit is not planned any more, or was changed meanwhile.
    """
    now = services.clock()
    _check_day(plan.on, now)
    note = checked_note(plan.note, "note")
    async with services.store.writing() as connection:
        visit = await planned_visit(connection, visit_id, version)
        values = {
            "planned_on": plan.on,
            "assigned_to": await _operator(connection, plan.assigned_to),
            "note": note,
        }
        await change(connection, visit, version, values, now, operator)
        detail = _plan_detail(visit_id, plan) | {"note": note}
        await tell(connection, now, operator, "visit moved", visit, detail)
        await _plan_alerts(connection, [visit.laptop_id], plan, operator, now)


async def _plan_alerts(
    connection: WriteConnection,
    laptop_ids: Collection[int],
    plan: Plan,
    operator: Operator,
    now: datetime,
) -> int:
    if not plan.with_alerts:
        return 0
    planned = await rows.plan_alerts_of(connection, laptop_ids, plan.on, now)
    detail = {"planned_on": plan.on.isoformat()}
    for number in planned:
        subject = f"alert:{number}"
        await audit.note(connection, now, operator.name, "planned", subject, detail)
    return len(planned)


def _plan_detail(number: int, plan: Plan) -> dict[str, Any]:
    return {
        "visit": number,
        "planned_on": plan.on.isoformat(),
        "to": plan.assigned_to,
    }


async def _operator(connection: WriteConnection, name: str | None) -> int | None:
    if not name or not name.strip():
        return None
    clean = clean_name(name)
    found = None
    if not name_problem(clean):
        found = await alert_rows.operator_id(connection, clean)
    if found is None:
        raise NotFound("operator", clean[:NAME_SHOWN])
    return found


def _check_day(on: date, now: datetime) -> None:
    if on < now.date():
        raise InvalidRequest(f"{on} is past; choose today or a later day")
