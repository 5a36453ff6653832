"""Daily values come back as they were written, from texts of one store and bytes of the other."""

import random
from collections.abc import Iterator
from datetime import date

import numpy as np
from sqlalchemy import insert, select

from fadewatch_collector.store.daily_series import load_series
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


async def test_many_values_come_back_as_a_plain_query_gives_them(
    services: Services,
) -> None:
    chance = random.Random(11)  # noqa: S311  values, no secrets
    leap_days = [date(year, 2, 29) for year in (1972, 2000, 2024, 2196)]
    written = [date(1970, 1, 1), date(1999, 12, 31), *leap_days, date(2199, 12, 31)]
    wanted = sorted({*written, *_days(chance, 300)})
    capacity = _capacities(chance)
    async with services.store.writing() as connection:
        now = services.clock()
        await connection.execute(
            insert(packs).values(id=7, unit="mWh", first_seen_at=now, last_seen_at=now)
        )
        await connection.execute(
            insert(daily_capacity),
            [
                value(7, 0, next(capacity))
                | {
                    "day": day,
                    "design_capacity": next(capacity),
                    "cycle_count": chance.choice([None, 1, 7, 2**31 - 1]),
                }
                for day in wanted
            ],
        )
    column = daily_capacity.c
    query = select(
        column.day,
        column.full_charge_capacity,
        column.design_capacity,
        column.cycle_count,
    ).order_by(column.day)
    async with services.store.reading() as connection:
        plain = (await connection.execute(query)).all()
        found = await load_series(connection, [7])

    order = np.argsort(found.day)
    assert [row[0] for row in plain] == wanted
    epoch = date(1970, 1, 1).toordinal()
    assert found.day[order].tolist() == [row[0].toordinal() - epoch for row in plain]
    assert found.full[order].tolist() == [row[1] for row in plain]
    assert found.design[order].tolist() == [row[2] for row in plain]
    counts = [None if np.isnan(one) else one for one in found.cycles[order].tolist()]
    assert counts == [row[3] for row in plain]


def _days(chance: random.Random, count: int) -> list[date]:
    last = date(2199, 12, 31).toordinal()
    first = date(1970, 1, 1).toordinal()
    return [date.fromordinal(chance.randint(first, last)) for _ in range(count)]


def _capacities(chance: random.Random) -> Iterator[float]:
    """Yield whole numbers, halves, what a unit's change gives, and the ends."""
    while True:
        whole = chance.randint(0, 2**31 - 1)
        yield float(whole)
        yield whole + 0.5
        yield round(chance.uniform(0, 60_000), 9)
        yield from (0.0, 0.5, float(2**31 - 1))
