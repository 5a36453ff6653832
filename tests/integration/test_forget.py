"""Forgetting leaves nothing of a laptop or holder, and nothing else is touched."""

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import delete, func, select, update

from fadewatch_collector.store.forgetting import FATES
from fadewatch_collector.store.tables import (
    alerts,
    audit,
    forgotten_laptops,
    inspections,
    laptops,
    metadata,
    outbox,
    packs,
    place_changes,
    removed_packs,
    visits,
)
from fadewatch_collector.usecases.forget import forget_holder, forget_laptop
from fadewatch_collector.usecases.laptop_export import stream_laptop_export
from fadewatch_collector.usecases.removed_csv import stream_removed_csv
from fadewatch_collector.usecases.services import Services
from tests.fixtures.forgettable import (
    GONE,
    HOLDER,
    WORDS,
    a_laptop_with_a_life,
    every_row,
    naming,
    pointing_to,
)
from tests.fleet import rows
from tests.integration.api_service import running_api
from tests.integration.pages_service import running_pages
from tests.integration.postgres import DATABASES
from tests.old_store import fill, tables_of

ON = DATABASES


def test_every_table_that_points_to_a_laptop_has_its_fate() -> None:
    assert set(FATES) == pointing_to("laptops", "reports")


async def test_nothing_of_a_forgotten_laptop_is_found_again(services: Services) -> None:
    number, other = await a_laptop_with_a_life(services)
    assert len(await naming(services, *WORDS)) >= 10

    told = await forget_laptop(services, number, "ada", dry_run=False)

    assert told.left == {}
    assert await naming(services, *WORDS) == {}
    for name in pointing_to("laptops"):
        table = metadata.tables[name]
        assert not await rows(
            services, select(table).where(table.c.laptop_id == number)
        ), name
    for (payload,) in await rows(services, select(outbox.c.payload)):
        assert {one["laptop_id"] for one in payload["alerts"]} == {other}
    trail = await rows(
        services,
        select(audit.c.action, audit.c.detail).where(
            audit.c.subject == f"laptop:{number}"
        ),
    )
    assert trail[-1][0] == "laptop forgotten"
    assert {detail is None for _, detail in trail[:-1]} == {True}


async def test_what_is_the_packs_stays_without_the_laptop(
    services: Services, clock: object
) -> None:
    number, _ = await a_laptop_with_a_life(services)
    before = await every_row(services)

    told = await forget_laptop(services, number, "ada", dry_run=False)

    after = await every_row(services)
    for name in ("packs", "daily_capacity", "daily_charging", "assessments"):
        assert after[name] == before[name], name
    record = removed_packs.c
    assert await rows(
        services, select(record.laptop_id, record.place, record.swollen, record.note)
    ) == [(None, "metal box 2", True, None)]
    seen = inspections.c
    assert await rows(services, select(seen.laptop_id, seen.note)) == [(None, None)]
    pack_alerts = select(alerts.c.laptop_id, alerts.c.state, alerts.c.ended_because)
    assert (None, "ended", "the laptop was forgotten") in await rows(
        services, pack_alerts.where(alerts.c.subject.startswith("pack:"))
    )
    assert told.cut_off["removed_packs"] == 1
    csv = b"".join([piece async for piece in stream_removed_csv(services)])
    assert b"metal box 2" in csv
    (pack,) = await rows(services, select(packs.c.id).where(packs.c.serial == "30001"))
    async with running_pages(services) as pages:
        await pages.sign_in("administrator")
        for path in ("/", "/?state=ended", "/removed", f"/packs/{pack[0]}", "/laptops"):
            assert (await pages.get(path)).status == 200, path
        assert "a forgotten laptop" in (await pages.get("/removed")).texts
        assert (await pages.get(f"/laptops/{number}")).status == 404


async def test_other_laptops_keep_every_row(services: Services) -> None:
    """In a store with rows in every table, made by its schema and not by us."""
    async with services.store.writing() as connection:
        tables = await connection.run_sync(tables_of)
        await connection.run_sync(fill, tables, 0)
        await connection.execute(
            update(outbox).values(payload={"alerts": [{"laptop_id": 1}], "more": 0})
        )
        await connection.execute(delete(forgotten_laptops))
        await connection.execute(update(place_changes).values(before={}, after={}))
        await connection.execute(update(alerts).values(state="ended"))
    (gone,) = (await rows(services, select(func.max(laptops.c.id))))[0]
    before = await every_row(services)

    told = await forget_laptop(services, gone, "ada", dry_run=False)

    assert told.left == {}
    after = await every_row(services)
    for name in pointing_to("laptops"):
        place = list(metadata.tables[name].columns.keys()).index("laptop_id")
        kept = [row for row in before[name] if row[place] != gone]
        assert [row for row in after[name] if row[place] is not None] == kept, name
    whole = pointing_to("packs") - pointing_to("laptops")
    for name in whole | {"packs", "operators", "policies", "pack_stock"}:
        assert after[name] == before[name], name


async def test_its_agent_is_told_to_enrol_again_and_gets_a_new_number(
    services: Services,
) -> None:
    async with running_api(services) as api:
        key = await api.enrol(GONE)
        (number,) = (await rows(services, select(func.max(laptops.c.id))))[0]

        await forget_laptop(services, number, "ada", dry_run=False)
        answer = await api.ask("POST", "/reports", key, json={"reports": []})
        await api.enrol(GONE)

    assert answer.status == 401
    assert "enrol this laptop again" in answer.json["detail"]
    assert (await rows(services, select(func.max(laptops.c.id))))[0][0] > number


async def test_nothing_names_a_forgotten_holder(services: Services) -> None:
    number, other = await a_laptop_with_a_life(services)
    named = await naming(services, HOLDER, "åström")
    assert {
        "laptops.holder", "search_terms.term", "place_changes.after", "outbox.payload",
        "audit.detail", "visits.note", "inspections.note", "removed_packs.note",
    } <= named.keys()  # fmt: skip

    shown = await forget_holder(services, HOLDER.lower(), "ada", dry_run=True)
    assert await naming(services, HOLDER, "åström") == named
    told = await forget_holder(services, HOLDER.lower(), "ada", dry_run=False)

    assert (told.left, told.blanked) == ({}, shown.blanked)
    assert await naming(services, HOLDER, "åström") == {}
    (note,) = await rows(services, select(visits.c.note))
    assert note == ("ask [forgotten]",)
    column = laptops.c
    query = select(column.id, column.asset_tag, column.holder).order_by(column.id)
    assert await rows(services, query) == [
        (other, "T-9", None),
        (number, "TAG-0414", None),
    ]


async def exported(services: Services, number: int) -> Mapping[str, Any]:
    pieces = [piece async for piece in stream_laptop_export(services, number)]
    whole: Mapping[str, Any] = json.loads(b"".join(pieces))
    return whole


async def test_an_export_holds_every_row_that_leads_to_the_laptop(
    services: Services,
) -> None:
    number, other = await a_laptop_with_a_life(services)

    tables = (await exported(services, number))["tables"]

    assert pointing_to("laptops", "reports", "packs") <= tables.keys()
    for name in pointing_to("laptops"):
        table = metadata.tables[name]
        mine = select(func.count()).where(table.c.laptop_id == number)
        assert len(tables[name]) == (await rows(services, mine))[0][0], name
    assert len(tables["reports"]) == 4
    assert {row["serial"] for row in tables["packs"]} == {"30001", "30002"}
    assert len(tables["daily_capacity"]) == 4
    told = [one for row in tables["outbox"] for one in row["payload"]["alerts"]]
    assert {one["laptop_id"] for one in told} == {number}
    assert len(told) == 2
    whole = json.dumps(tables)
    assert "BM-STAYS" not in whole
    assert "digest" not in tables["agent_keys"][0]
    assert other
