"""Rows written by one statement are the rows that SQLAlchemy would write."""

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

from sqlalchemy import insert, select

from fadewatch_collector.store.bulk import (
    among,
    insert_rows,
    update_rows,
    upsert_rows,
)
from fadewatch_collector.store.tables import daily_capacity, laptops, packs
from fadewatch_collector.usecases.services import Services
from tests.fleet import rows
from tests.integration.postgres import DATABASES

ON = DATABASES
AT = datetime(2026, 3, 1, 8, 0, 0, 250, tzinfo=UTC)
ELSEWHERE = datetime(2026, 3, 1, 13, 30, tzinfo=timezone(timedelta(hours=5.5)))
LAPTOPS: tuple[dict[str, Any], ...] = (
    {
        "id": 1,
        "hostname": 'a "quoted" \u00e9\U0001f50b name\\',
        "enrolled_at": AT,
        "last_report_at": ELSEWHERE,
        "mains_online": True,
        "storage_total_bytes": 2**61,
        "memory": {"slots": [1, None, "x"], "total_mib": 8},
        "remarks": ["one"],
    },
    {
        "id": 2,
        "hostname": None,
        "enrolled_at": AT,
        "last_report_at": None,
        "mains_online": False,
        "storage_total_bytes": None,
        "memory": None,
        "remarks": [],
    },
)
NAMES = tuple(LAPTOPS[0])


async def test_inserted_rows_are_those_that_sqlalchemy_inserts(
    services: Services,
) -> None:
    async with services.store.writing() as connection:
        await insert_rows(
            connection, laptops, NAMES, [tuple(one.values()) for one in LAPTOPS]
        )
        others = [dict(one) | {"id": one["id"] + 10} for one in LAPTOPS]
        await connection.execute(insert(laptops), others)

    # Cast to text: as it lies in the table, not as the type gives it back.
    found = await rows(
        services, select(*(laptops.c[n] for n in NAMES)).order_by(laptops.c.id)
    )
    by_bulk, by_sqlalchemy = found[:2], found[2:]
    assert [row[1:] for row in by_bulk] == [row[1:] for row in by_sqlalchemy]
    assert by_bulk[0][3] == ELSEWHERE
    async with services.store.reading() as connection:
        plain = await connection.exec_driver_sql(
            "SELECT enrolled_at, last_report_at, mains_online, remarks FROM laptops "
            "ORDER BY id"
        )
        kept = plain.all()
    assert kept[:2] == kept[2:]


async def test_updated_rows_change_and_others_do_not(services: Services) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            insert(packs),
            [
                {"id": n, "unit": "mWh", "first_seen_at": AT, "last_seen_at": AT}
                for n in (1, 2, 3)
            ],
        )
        await update_rows(
            connection,
            packs,
            ("id", "made_on", "temperature_c", "last_seen_at"),
            [(3, date(2024, 2, 29), 31.7, ELSEWHERE), (1, None, None, AT)],
        )

    column = packs.c
    query = select(
        column.id, column.made_on, column.temperature_c, column.last_seen_at
    ).order_by(column.id)
    assert await rows(services, query) == [
        (1, None, None, AT),
        (2, None, None, AT),
        (3, date(2024, 2, 29), 31.7, ELSEWHERE),
    ]


async def test_a_row_with_a_known_key_is_overwritten(services: Services) -> None:
    names = ("pack_id", "unit", "day", "design_capacity", "full_charge_capacity")
    day = date(2026, 3, 1)
    async with services.store.writing() as connection:
        pack = {"id": 1, "unit": "mWh", "first_seen_at": AT, "last_seen_at": AT}
        await connection.execute(insert(packs), [pack])
        for full in (50000.0, 49999.5):
            await upsert_rows(
                connection,
                daily_capacity,
                (*names, "readings"),
                [(1, "mWh", day, 57000.0, full, 3)],
            )

    query = select(daily_capacity.c.day, daily_capacity.c.full_charge_capacity)
    assert await rows(services, query) == [(day, 49999.5)]


async def test_values_are_looked_for_in_one_parameter(services: Services) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            insert(packs),
            [
                {
                    "id": n,
                    "identity": f"pack '{n}",
                    "unit": "mWh",
                    "first_seen_at": AT,
                    "last_seen_at": AT,
                }
                for n in range(1, 5)
            ],
        )
        query = select(packs.c.id).order_by(packs.c.id)
        by_name = among(connection, packs.c.identity, {"pack '2", "pack '9"})
        by_number = among(connection, packs.c.id, [1, 4, 77])
        nothing = among(connection, packs.c.id, [])
        named = (await connection.execute(query.where(by_name))).scalars().all()
        numbered = (await connection.execute(query.where(by_number))).scalars().all()
        none = (await connection.execute(query.where(nothing))).scalars().all()

    assert (named, numbered, none) == ([2], [1, 4], [])
