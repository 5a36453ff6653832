"""Laptops are found by the names and numbers that people have at hand."""

import pytest
from sqlalchemy import delete, insert, update

from fadewatch_collector.store import search
from fadewatch_collector.store.tables import laptops, packs, search_terms
from fadewatch_collector.usecases.finding import keep_search_terms, suggest_laptops
from fadewatch_collector.usecases.overview import laptop_list
from fadewatch_collector.usecases.places import import_places, undo_last_import
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_fleet import fill
from tests.integration.postgres import DATABASES

ON = DATABASES

HEADER = "laptop_serial,asset_tag,holder,site"


@pytest.fixture(autouse=True)
async def fleet(services: Services) -> None:
    await fill(services.store, services.clock(), laptops=24)
    async with services.store.writing() as connection:
        await connection.execute(
            update(laptops)
            .where(laptops.c.id == 7)
            .values(
                hostname="Bench-7", asset_tag="FW 0701", serial="ZQ-55K9", holder="Özge"
            )
        )
        await connection.execute(
            update(packs).where(packs.c.id == 7).values(serial="8842-1")
        )
    await keep_search_terms(services)


async def found(services: Services, typed: str) -> list[int]:
    return [row.id for row in await suggest_laptops(services, typed)]


@pytest.mark.parametrize(
    "typed",
    [
        "bench",
        "BENCH-7",
        "fw 07",
        "0701",
        "701",  # the end of it, as on a label half rubbed off
        "zq",
        "5k9",
        "özg",
        "8842",
        "bench özge",
        "özge zq-5",
    ],
)
async def test_a_laptop_is_found_by_any_of_its_names(
    services: Services, typed: str
) -> None:
    assert 7 in await found(services, typed)


@pytest.mark.parametrize(
    "typed", ["", "b", "  ", "bench nobody", "%", "_ench", "x' OR"]
)
async def test_what_matches_nothing_finds_nothing(
    services: Services, typed: str
) -> None:
    assert await found(services, typed) == []


async def test_the_laptop_list_narrows_and_goes_on_by_key(services: Services) -> None:
    async with services.store.writing() as connection:
        await connection.execute(update(laptops).values(holder="day school"))
    await keep_search_terms(services)
    first = await laptop_list(services, limit=10, find="day")
    second = await laptop_list(services, cursor=first.next_cursor, limit=99, find="day")

    numbers = [row.id for row in (*first.laptops, *second.laptops)]
    assert numbers == sorted(set(numbers))
    assert len(numbers) == first.laptop_count
    assert second.next_cursor is None


async def test_a_word_that_nearly_all_match_is_found_too(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(search, "FEW", 2)
    async with services.store.writing() as connection:
        await connection.execute(update(laptops).values(holder="day school"))
    await keep_search_terms(services)

    assert len(await found(services, "day school")) == 8
    assert await found(services, "bench day") == [7]


async def test_an_import_and_its_undoing_change_what_is_found(
    services: Services,
) -> None:
    lines = (HEADER, "ZQ-55K9,FW 0701,Ferryman,Quay")
    await import_places(services, lines, "mira", dry_run=False)
    assert (await found(services, "ferry"), await found(services, "özge")) == ([7], [])

    await undo_last_import(services, "mira")
    assert (await found(services, "ferry"), await found(services, "özge")) == ([], [7])


async def test_the_round_mends_terms_that_went_missing_or_stale(
    services: Services,
) -> None:
    async with services.store.writing() as connection:
        await connection.execute(delete(search_terms))
        await connection.execute(
            insert(search_terms).values(
                laptop_id=8, source="holder", term="gone", backwards="enog"
            )
        )
    assert await found(services, "bench") == []

    assert await keep_search_terms(services) == 24
    assert await found(services, "bench") == [7]
    assert await found(services, "gone") == []
