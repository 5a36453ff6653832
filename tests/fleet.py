"""Bring reports through the collector in tests, as a running one does."""

import asyncio
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

from sqlalchemy import text

from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store.tables import laptops
from fadewatch_collector.usecases.accounts import add_operator
from fadewatch_collector.usecases.assess import assess_packs
from fadewatch_collector.usecases.enrolment import enrol, make_token
from fadewatch_collector.usecases.filing import Filed, file_waiting
from fadewatch_collector.usecases.intake import Intake, ReceivedReport
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import judge_swaps
from fadewatch_common.report import Laptop, Report
from tests.reports import AGENT, LAPTOP, received

DAY = timedelta(days=1)

SIGNED_IN: Collection[str] = ("operators", "operator_sessions", "store_values")
"""Tables of those who are signed in."""


async def new_laptop(
    services: Services, serial: str = "BM-1", laptop: Laptop = LAPTOP
) -> int:
    """Enrol a laptop at the site North and return its number."""
    token = await make_token(
        services,
        label="test",
        site="North",
        lifetime=DAY,
        use_limit=1,
        who="test",
    )
    told = replace(laptop, serial=serial)
    return (await enrol(services, token, told, AGENT)).laptop_id


async def keep(
    services: Services, laptop_id: int, batch: Sequence[ReceivedReport]
) -> None:
    """Store reports, which then wait to be filed."""
    intake = Intake(services, lambda: None)
    request = asyncio.ensure_future(intake.store(laptop_id, batch))
    await asyncio.sleep(0)
    intake.close()
    await intake.run()
    await request


async def deliver(
    services: Services, laptop_id: int, batch: Sequence[Report]
) -> list[Filed]:
    """Store reports and file them."""
    await keep(services, laptop_id, [received(report) for report in batch])
    filed = [await file_waiting(services)]
    while filed[-1].reports:
        filed.append(await file_waiting(services))
    return filed[:-1]


async def live(services: Services, laptop_id: int, *batch: Report) -> None:
    """Deliver reports and let the collector say what it makes of them."""
    for filed in await deliver(services, laptop_id, batch):
        packs = sorted(filed.packs)
        await assess_packs(services, packs)
        await judge_swaps(services, packs)


async def rows(services: Services, query: Any) -> list[tuple[Any, ...]]:
    """Return the rows of a query."""
    async with services.store.reading() as connection:
        found = (await connection.execute(query)).all()
    return [tuple(row) for row in found]


async def technician(services: Services, name: str = "pat") -> Operator:
    """Add a technician."""
    return await add_operator(services, name, "technician", "a long enough password 7!")


async def empty_out(services: Services, *, keep: Collection[str]) -> None:
    """Empty every table but some; rows that come then are counted from one again."""
    every = laptops.metadata.sorted_tables
    others = [table for table in every if table.name not in keep]
    async with services.store.writing() as connection:
        if services.store.is_sqlite:
            for table in reversed(others):
                await connection.execute(table.delete())
            return
        names = ", ".join(table.name for table in others)
        await connection.execute(text(f"TRUNCATE {names} RESTART IDENTITY"))
