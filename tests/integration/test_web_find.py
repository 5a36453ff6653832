"""The search field: suggestions for scripts, a list for everybody."""

import json
from collections.abc import AsyncIterator

import pytest
from sqlalchemy import update

from fadewatch_collector.store.tables import laptops
from fadewatch_collector.usecases.finding import keep_search_terms
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_fleet import SWAPPED_LAPTOP, fill
from tests.integration.pages_service import Pages, running_pages

HOSTILE = "Bell <script>alert(1)</script>"


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    await fill(services.store, services.clock(), laptops=24)
    async with services.store.writing() as connection:
        await connection.execute(
            update(laptops)
            .where(laptops.c.id == SWAPPED_LAPTOP)
            .values(holder=HOSTILE, asset_tag="BELL-2")
        )
    await keep_search_terms(services)
    async with running_pages(services) as pages:
        await pages.sign_in("viewer")
        yield pages


async def test_a_script_gets_pages_names_and_what_tells_them_apart(
    pages: Pages,
) -> None:
    answer = await pages.ask("/find?find=bell-2")

    assert answer.headers["Content-Type"] == "application/json; charset=utf-8"
    (laptop,) = json.loads(answer.body)
    assert laptop["page"] == f"/laptops/{SWAPPED_LAPTOP}"
    assert laptop["name"] == "wor-lt-002"
    assert laptop["about"].startswith(f"tag BELL-2 · {HOSTILE} · ")


async def test_the_list_shows_what_matches_and_says_so(pages: Pages) -> None:
    page = await pages.get("/laptops?find=bell")

    assert "match “bell”" in page.texts
    assert [row.text.split()[0] for row in page.all("th", role="rowheader")] == [
        "wor-lt-002"
    ]
    assert "<script>alert" not in page.body
    assert page.one("input", id="find").attributes["value"] == "bell"


async def test_nothing_found_says_how_to_look(pages: Pages) -> None:
    page = await pages.get("/laptops?find=nobody+at+all")

    assert "No laptop matches “nobody at all”" in page.texts
    assert "the last three or more characters" in page.texts


async def test_what_nobody_types_is_refused_with_a_sentence(pages: Pages) -> None:
    for path in ("/find?find=", "/laptops?find="):
        answer = await pages.get(path + "x" * 101)
        assert answer.status == 400
        assert (await pages.get(path + "a%00b")).status == 400


async def test_only_who_is_signed_in_may_look(pages: Pages) -> None:
    pages.client.session.cookie_jar.clear()

    answer = await pages.ask("/find?find=bell")

    assert answer.status == 303
    assert "/laptops/" not in answer.body
