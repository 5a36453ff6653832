"""A whole night on a small invented fleet says the same on both databases."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Table, select

from fadewatch_collector.settings import Settings
from fadewatch_collector.store.store import open_store
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    charging_habits,
    finding_watches,
    kept_forecasts,
    search_terms,
    slot_stays,
    threshold_passings,
)
from fadewatch_collector.usecases.exports import stream_fleet_csv
from fadewatch_collector.usecases.fleet_view import fleet_view
from fadewatch_collector.usecases.rounds import ROUNDS
from fadewatch_collector.usecases.services import Services
from tests.benchmarks.fleet_days import add_days
from tests.benchmarks.fleet_life import live
from tests.benchmarks.fleet_store import NOW, fill
from tests.benchmarks.store_copy import copy_store
from tests.integration.postgres import PostgresServer

LAPTOPS = 120
TOLD = (
    assessments,
    alerts,
    charging_habits,
    finding_watches,
    kept_forecasts,
    search_terms,
    slot_stays,
    threshold_passings,
)


async def said(services: Services, table: Table) -> Sequence[Any]:
    """Return the rows of a table, without the numbers that its database gives."""
    columns = [column for column in table.c if (table, column.name) != (alerts, "id")]
    async with services.store.reading() as connection:
        rows = (await connection.execute(select(*columns))).all()
    return sorted(repr([_in_order(value) for value in row]) for row in rows)


def _in_order(value: Any) -> Any:
    # PostgreSQL keeps the names of a structure in an order of its own.
    is_structure = isinstance(value, dict)
    return json.dumps(value, sort_keys=True) if is_structure else value


async def night(services: Services) -> None:
    for work in ROUNDS:
        await work.work(services)


@pytest.mark.postgres
async def test_every_round_says_the_same_on_both_databases(
    services: Services, postgres: PostgresServer, tmp_path: Path
) -> None:
    services = replace(services, clock=lambda: NOW)
    await fill(services.store, LAPTOPS)
    await live(services.store, with_days=False)
    url = await postgres.new_database()
    path = Settings(data_folder=tmp_path / "data").store_url.removeprefix("sqlite:///")
    await copy_store(path, url)
    other = replace(services, store=open_store(url))
    for address in (f"sqlite:///{path}", url):
        await add_days(address, LAPTOPS)

    for one in (services, other):
        await night(one)
        await night(one)

    for table in TOLD:
        found = await said(services, table)
        assert found, table.name
        assert await said(other, table) == found, table.name
    assert await fleet_view(other) == await fleet_view(services)
    files = [
        b"".join([piece async for piece in stream_fleet_csv(one)])
        for one in (services, other)
    ]
    assert files[0] == files[1]
    await other.store.close()
