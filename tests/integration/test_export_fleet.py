"""The fleet health CSV: byte for byte, and as other readers see it."""

import csv
import io
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, insert, update

from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    laptops,
    packs,
    slot_stays,
)
from fadewatch_collector.usecases.exports import FLEET_CSV_COLUMNS, stream_fleet_csv
from fadewatch_collector.usecases.services import Services
from tests.integration.postgres import DATABASES
from tests.unit.collector.usecases.test_exports_cells import unguarded

ON = DATABASES
SEEN = datetime(2026, 3, 1, 9, 30, 15, 250_000, tzinfo=timezone(timedelta(hours=1)))

HEADER = (
    "site,asset_tag,hostname,laptop_serial,laptop_maker,laptop_model,slot,pack_maker,"
    "pack_model,pack_serial,pack_made_on,chemistry,capacity_unit,design_capacity,"
    "full_charge_capacity,wear_percent,band,cycle_count,fade_percent_per_month,"
    "plan_crossing_earliest,plan_crossing_on,plan_crossing_latest,"
    "replace_crossing_earliest,replace_crossing_on,replace_crossing_latest,concern,"
    "open_alerts,memory_total_mib,memory_slots_used,memory_slots_free,drives,"
    "storage_total_bytes,last_report_at,agent_version"
)


def laptop(number: int, **known: Any) -> dict[str, Any]:
    return {"id": number, "enrolled_at": SEEN, **known}


def pack(number: int, **known: Any) -> dict[str, Any]:
    times = {"first_seen_at": SEEN, "last_seen_at": SEEN}
    return {"id": number, "unit": "mWh", **times, **known}


def stay(
    laptop_id: int, slot: str, pack_id: int, until_at: datetime | None = None
) -> dict[str, Any]:
    return {
        "laptop_id": laptop_id,
        "slot": slot,
        "pack_id": pack_id,
        "from_at": SEEN,
        "last_seen_at": SEEN,
        "until_at": until_at,
    }


def alert(kind: str, state: str, **about: Any) -> dict[str, Any]:
    return {
        "kind": kind,
        "urgency": "plan",
        "urgency_rank": 2,
        "state": state,
        "subject": str(about),
        "opened_at": SEEN,
        "changed_at": SEEN,
        "reasons": [],
        "next_step": "look",
        "figures_opened": {},
        "figures_now": {},
        **about,
    }


async def put(services: Services, table: Any, rows: Iterable[dict[str, Any]]) -> None:
    async with services.store.writing() as connection:
        for row in rows:
            await connection.execute(insert(table).values(**row))


async def export(services: Services, **options: Any) -> bytes:
    return b"".join([piece async for piece in stream_fleet_csv(services, **options)])


def cells(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


async def test_an_empty_fleet_is_the_header_alone(services: Services) -> None:
    assert await export(services) == HEADER.encode() + b"\r\n"


async def test_every_column_is_written_byte_for_byte(services: Services) -> None:
    await put(
        services,
        laptops,
        [
            laptop(
                1,
                site="H\u00e4fen, \u201cOst\u201d",
                asset_tag="A-17",
                hostname="tern-014",
                serial="00314",
                maker='Bright"moor"',
                model="Tern 14",
                memory_total_mib=16384,
                memory_slots_used=1,
                memory_slots_free=0,
                drives=[
                    {"name": "nvme0n1", "kind": "nvme", "size_bytes": 512110190592},
                    {"name": "sda", "kind": "hdd", "size_bytes": 10**12, "model": "T1"},
                ],
                storage_total_bytes=1512110190592,
                last_report_at=SEEN,
                agent_version="0.1.0",
            )
        ],
    )
    await put(
        services,
        packs,
        [
            pack(
                1,
                maker="=Callow",
                model="CC-57",
                serial="-00417",
                made_on=date(2024, 3, 15),
                chemistry="Li-ion",
                design_capacity=57000,
                full_charge_capacity=38760,
                cycle_count=312,
            )
        ],
    )
    await put(services, slot_stays, [stay(1, "BAT0", 1)])
    await put(
        services,
        assessments,
        [
            {
                "pack_id": 1,
                "as_of": SEEN.date(),
                "readings": 90,
                "wear": 0.3204,
                "band": "plan",
                "fade_per_month": -0.00123,
                "plan_earliest": date(2026, 1, 2),
                "plan_on": date(2026, 2, 3),
                "plan_latest": date(2026, 3, 4),
                "replace_earliest": date(2027, 1, 2),
                "replace_on": date(2027, 2, 3),
                "replace_latest": date(2027, 3, 4),
                "concern": "plan",
                "reasons": [],
            }
        ],
    )
    await put(services, alerts, [alert("wear-plan", "open", pack_id=1, laptop_id=1)])

    row = (
        '"H\u00e4fen, \u201cOst\u201d","A-17","tern-014","00314","Bright""moor""",'
        '"Tern 14","BAT0","\'=Callow","CC-57","\'-00417",2024-03-15,"Li-ion","mWh",'
        '57000,38760,32.0,"plan",312,-0.12,2026-01-02,2026-02-03,2026-03-04,'
        '2027-01-02,2027-02-03,2027-03-04,"plan",1,16384,1,0,'
        '"nvme0n1 nvme 512 GB; sda hdd 1.0 TB T1",1512110190592,'
        '2026-03-01T08:30:15Z,"0.1.0"'
    )
    assert await export(services) == f"{HEADER}\r\n{row}\r\n".encode()


async def test_a_laptop_without_a_pack_keeps_one_row(services: Services) -> None:
    gone = SEEN + timedelta(days=1)
    await put(services, laptops, [laptop(1), laptop(2, hostname="tern-2")])
    await put(services, packs, [pack(1)])
    await put(services, slot_stays, [stay(2, "BAT0", 1, until_at=gone)])

    bare = "," * 26 + "0" + "," * 7
    named = ',,"tern-2",' + "," * 23 + "0" + "," * 7
    assert await export(services) == f"{HEADER}\r\n{bare}\r\n{named}\r\n".encode()


async def test_a_pack_that_nothing_is_known_of_has_an_unknown_band(
    services: Services,
) -> None:
    await put(services, laptops, [laptop(1)])
    await put(services, packs, [pack(1, unit="relative")])
    await put(services, slot_stays, [stay(1, "BAT0", 1)])

    (row,) = cells(await export(services))

    assert (row["band"], row["concern"], row["wear_percent"]) == ("unknown", "", "")


async def test_rows_go_by_site_then_laptop_then_slot_and_no_site_comes_last(
    services: Services,
) -> None:
    sites = {5: "Alm", 4: "\u00c4", 3: None, 2: "alm", 1: "Alm"}
    await put(services, laptops, [laptop(n, site=s) for n, s in sites.items()])
    await put(services, packs, [pack(n) for n in (1, 2, 3)])
    order = [("BAT1", 1), ("BAT0", 2), ("BAT10", 3)]
    await put(services, slot_stays, [stay(1, slot, n) for slot, n in order])

    rows = cells(await export(services))

    assert [(row["site"], row["slot"]) for row in rows] == [
        ("Alm", "BAT0"),
        ("Alm", "BAT1"),
        ("Alm", "BAT10"),
        ("Alm", ""),
        ("alm", ""),
        ("\u00c4", ""),
        ("", ""),
    ]


async def test_open_alerts_are_the_packs_own_and_the_whole_laptops(
    services: Services,
) -> None:
    await put(services, laptops, [laptop(1), laptop(2), laptop(3)])
    await put(services, packs, [pack(1), pack(2)])
    await put(services, slot_stays, [stay(1, "BAT0", 1), stay(1, "BAT1", 2)])
    found = [
        alert("wear-plan", "open", pack_id=1, laptop_id=1),
        alert("gauge-doubt", "acknowledged", pack_id=1, laptop_id=1),
        alert("inspect", "planned", pack_id=1, laptop_id=2),
        alert("wear-replace", "ended", pack_id=1, laptop_id=1),
        alert("silent", "open", laptop_id=1),
        alert("silent", "ended", laptop_id=2),
        alert("silent", "open", laptop_id=3),
    ]
    await put(services, alerts, found)

    rows = cells(await export(services))

    assert [row["open_alerts"] for row in rows] == ["4", "1", "0", "1"]


@pytest.mark.parametrize(
    ("wear", "percent"),
    [
        (0.0, "0.0"),
        (-0.0004, "0.0"),
        (-0.031, "-3.1"),
        (0.29996, "30.0"),
        (1.0, "100.0"),
    ],
)
async def test_wear_has_one_decimal(
    services: Services, wear: float, percent: str
) -> None:
    await put(services, laptops, [laptop(1)])
    await put(services, packs, [pack(1)])
    await put(services, slot_stays, [stay(1, "BAT0", 1)])
    verdict = {"as_of": SEEN.date(), "readings": 1, "band": "sound", "concern": "none"}
    await put(
        services,
        assessments,
        [{"pack_id": 1, "wear": wear, "reasons": [], **verdict}],
    )

    (row,) = cells(await export(services))

    assert row["wear_percent"] == percent


async def test_a_byte_order_mark_comes_only_when_asked_for(services: Services) -> None:
    assert (await export(services))[:4] == b"site"
    assert (await export(services, byte_order_mark=True))[:7] == b"\xef\xbb\xbfsite"


async def test_the_whole_fleet_comes_in_pieces_of_one_steady_view(
    services: Services,
) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            insert(laptops), [laptop(n, hostname="before") for n in range(1, 2302)]
        )
    pieces = []
    async for piece in stream_fleet_csv(services):
        pieces.append(piece)
        if len(pieces) == 2:
            async with services.store.writing() as connection:
                await connection.execute(update(laptops).values(hostname="after"))

    assert [piece.count(b"\r\n") for piece in pieces] == [1, 2000, 301]
    assert {row["hostname"] for row in cells(b"".join(pieces))} == {"before"}


# What PostgreSQL and SQLite both hold: any text but NUL and lone surrogates.
TEXT = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]))
HOSTILE = st.sampled_from(["=1+1", "-", "'=", '"', "a,b", "\r\n", " @x", "\uff1dy", ""])


@given(texts=st.lists(st.none() | TEXT | HOSTILE, min_size=5, max_size=5))
@settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    deadline=None,
)
async def test_two_readers_get_every_text_back(
    services: Services, texts: list[str | None]
) -> None:
    names = ["site", "asset_tag", "hostname", "laptop_serial", "laptop_maker"]
    columns = [name.removeprefix("laptop_") for name in names]
    async with services.store.writing() as connection:
        await connection.execute(delete(laptops))
        await connection.execute(
            insert(laptops).values(laptop(1, **dict(zip(columns, texts, strict=True))))
        )

    content = await export(services)

    (row,) = cells(content)
    assert [unguarded(row[name]) for name in names] == [text or "" for text in texts]
    frame = pl.read_csv(content, infer_schema=False)
    assert frame.columns == list(FLEET_CSV_COLUMNS)
    assert [unguarded(frame[name][0] or "") for name in names] == [
        text or "" for text in texts
    ]


async def test_polars_finds_numbers_and_dates_where_they_are(
    services: Services,
) -> None:
    await put(
        services, laptops, [laptop(1, last_report_at=SEEN, memory_total_mib=8192)]
    )
    await put(services, packs, [pack(1, made_on=date(2024, 3, 15), cycle_count=61)])
    await put(services, slot_stays, [stay(1, "BAT0", 1)])

    frame = pl.read_csv(await export(services), try_parse_dates=True)

    assert frame["pack_made_on"][0] == date(2024, 3, 15)
    assert frame["cycle_count"][0] == 61
    assert frame["last_report_at"][0] == datetime(2026, 3, 1, 8, 30, 15, tzinfo=UTC)


async def test_the_view_stays_steady_while_the_fleet_changes(
    services: Services,
) -> None:
    await put(services, laptops, [laptop(n, hostname="old") for n in range(1, 1002)])

    pieces = stream_fleet_csv(services)
    content = await anext(pieces) + await anext(pieces)
    async with services.store.writing() as connection:
        await connection.execute(update(laptops).values(hostname="new"))
    content += b"".join([piece async for piece in pieces])

    assert {row["hostname"] for row in cells(content)} == {"old"}


async def test_an_export_broken_off_gives_its_connection_back(
    services: Services,
) -> None:
    await put(services, laptops, [laptop(n) for n in range(1, 1002)])

    pieces = stream_fleet_csv(services)
    await anext(pieces)
    await anext(pieces)
    await pieces.aclose()

    assert services.store.engine.pool.checkedout() == 0  # type: ignore[attr-defined]  # a queue pool


def test_the_columns_are_the_documented_ones() -> None:
    assert ",".join(FLEET_CSV_COLUMNS) == HEADER
