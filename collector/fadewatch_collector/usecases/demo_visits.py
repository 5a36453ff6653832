"""Visits of the invented fleet, so that its lists look as they do in use."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import islice

from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.rules.visit_terms import Work
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import find_swap
from fadewatch_collector.usecases.visit_lists import DueEntry, due_list
from fadewatch_collector.usecases.visit_outcomes import (
    call_off_visit,
    finish_visit,
    record_visit,
)
from fadewatch_collector.usecases.visits import Plan, plan_visits

AHEAD = 90
ROUND_SIZE = 3
"""Laptops of the planned round [count]."""

WORK: tuple[tuple[Work, ...], ...] = (
    ("pack", "cleaned", "hinges"),
    ("pack", "cleaned", "cable"),
    ("pack",),
)
NOTES = ("Left hinge screw was loose.", "", "Much dust in the fan.")


async def visit_for_swap(services: Services, swap_id: int, operator: Operator) -> None:
    """Keep the visit at which a swap of the past was done."""
    swap = await find_swap(services, swap_id)
    then = replace(services, clock=lambda: swap.at)
    work, note = WORK[swap_id % len(WORK)], NOTES[swap_id % len(NOTES)]
    await record_visit(then, swap.laptop_id, operator, work=work, found=note)


async def plan_demo_visits(services: Services, operator: Operator) -> None:
    """Plan a round, let one day pass by, call one visit off, and finish another."""
    found = await due_list(services, within_days=AHEAD, limit=200, is_counted=False)
    waiting = iter([entry for entry in found.entries if not entry.sheet.stop_use])
    await _plan(services, operator, waiting, days_ago=0, ahead=6, count=ROUND_SIZE)
    await _plan(services, operator, waiting, days_ago=20, ahead=15, count=1)
    off = await _plan(services, operator, waiting, days_ago=12, ahead=20, count=1)
    done = await _plan(services, operator, waiting, days_ago=9, ahead=5, count=1)
    for number in off:
        why = "The holder is away until next month."
        await call_off_visit(services, number, 1, operator, why)
    then = replace(services, clock=_days_before(services.clock(), 2))
    for number in done:
        work: tuple[Work, ...] = ("cleaned", "hinges")
        note = "No pack was on the shelf; ordered one."
        await finish_visit(then, number, 1, operator, work=work, found=note)


async def _plan(
    services: Services,
    operator: Operator,
    waiting: Iterator[DueEntry],
    *,
    days_ago: int,
    ahead: int,
    count: int,
) -> list[int]:
    then = replace(services, clock=_days_before(services.clock(), days_ago))
    chosen = [entry.sheet.laptop.id for entry in islice(waiting, count)]
    if not chosen:
        return []
    plan = Plan(
        on=then.clock().date() + timedelta(days=ahead),
        assigned_to=operator.name,
        note="Ask at the front desk for a table." if count > 1 else None,
    )
    return list((await plan_visits(then, chosen, plan, operator)).visit_ids)


def _days_before(now: datetime, days: int) -> Callable[[], datetime]:
    return lambda: now - timedelta(days=days)
