"""Counts of due laptops are kept for a minute on large fleets, never on small ones."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import update

from fadewatch_collector.store.tables import assessments
from fadewatch_collector.usecases import due_memory
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visit_lists import due_list
from tests.fixtures.shown_fleet import fill
from tests.integration.postgres import DATABASES

ON = DATABASES


async def due_now(services: Services, after_s: float = 0) -> int:
    now = services.clock() + timedelta(seconds=after_s)
    then = replace(services, clock=lambda: now)
    shown = await due_list(then, within_days=30)
    return sum(count.due for count in shown.counts)


async def let_all_be_due(services: Services) -> None:
    async with services.store.writing() as connection:
        await connection.execute(update(assessments).values(band="replace"))


async def test_few_due_laptops_are_counted_each_time(services: Services) -> None:
    await fill(services.store, services.clock(), laptops=24)
    before = await due_now(services)
    await let_all_be_due(services)

    assert await due_now(services) > before > 0


async def test_many_are_counted_again_after_a_minute(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(due_memory, "MANY", 1)
    await fill(services.store, services.clock(), laptops=24)
    before = await due_now(services)
    await let_all_be_due(services)

    assert await due_now(services, after_s=59) == before
    assert await due_now(services, after_s=61) > before
