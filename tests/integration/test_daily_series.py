"""Daily values come back as they were written, from texts of one store and arrays of the other."""

from datetime import date

import numpy as np
from sqlalchemy import insert

from fadewatch_collector.store.histories import load_histories
from fadewatch_collector.store.tables import daily_capacity, packs
from fadewatch_collector.usecases.services import Services
from tests.integration.postgres import DATABASES

ON = DATABASES
DAY = 20_000
"""[d since 1970-01-01]"""


def value(pack: int, day: int, full: float, **more: object) -> dict[str, object]:
    return {
        "pack_id": pack,
        "day": date.fromordinal(date(1970, 1, 1).toordinal() + DAY + day),
        "unit": "mWh",
        "design_capacity": 57_000.0,
        "full_charge_capacity": full,
        "cycle_count": 12,
        "readings": 4,
    } | more


async def test_values_come_back_in_order_with_halves_and_unknown_counts(
    services: Services,
) -> None:
    async with services.store.writing() as connection:
        now = services.clock()
        times = {"first_seen_at": now, "last_seen_at": now}
        for number in (3, 4, 9):
            await connection.execute(
                insert(packs).values(id=number, unit="mWh", **times)
            )
        await connection.execute(
            insert(daily_capacity),
            [
                value(9, 1, 41_000.5),
                value(9, 0, 42_000.0, cycle_count=None),
                value(4, 0, 50_123.0, design_capacity=50_123.5),
            ],
        )
    async with services.store.reading() as connection:
        found = await load_histories(connection, [9, 3, 4])

    assert found.pack_ids == ("9", "3", "4")
    assert found.offsets.tolist() == [0, 2, 2, 3]
    assert found.day.tolist() == [DAY, DAY + 1, DAY]
    assert found.full.tolist() == [42_000.0, 41_000.5, 50_123.0]
    assert found.design.tolist() == [57_000.0, 57_000.0, 50_123.5]
    assert np.isnan(found.cycles[0])
    assert found.cycles[1:].tolist() == [12.0, 12.0]


async def test_packs_without_daily_values_have_an_empty_history(
    services: Services,
) -> None:
    async with services.store.reading() as connection:
        found = await load_histories(connection, [1, 2])

    assert found.offsets.tolist() == [0, 0, 0]
