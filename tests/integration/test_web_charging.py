"""The page of charging habits, and the section on a laptop's and a pack's page."""

from collections.abc import AsyncIterator

import pytest
from sqlalchemy import delete

from fadewatch_collector.store.tables import charging_habits, store_values
from fadewatch_collector.usecases.charging import AS_OF, PAGE_ROWS
from fadewatch_collector.usecases.charging_csv import CHARGING_CSV_COLUMNS
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_charging import HOT_PACK, fill_charging
from tests.fixtures.shown_fleet import SWAPPED_LAPTOP, fill
from tests.integration.pages_service import Page, Pages, running_pages


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    """Pages with the invented fleet and its charging, and a viewer signed in."""
    async with running_pages(services) as pages:
        await pages.sign_in("viewer")
        await fill(services.store, services.clock(), laptops=80)
        await fill_charging(services)
        yield pages


def packs_of(page: Page) -> list[int]:
    links = [node.attributes.get("href") or "" for node in page.all("a")]
    return [int(link.partition("#pack-")[2]) for link in links if "#pack-" in link]


async def test_the_page_lists_packs_with_figures_and_what_is_worth_doing(
    pages: Pages,
) -> None:
    page = await pages.get("/charging")

    assert page.status == 200
    assert {3, 6, 12} <= set(packs_of(page))
    assert 9 not in packs_of(page)
    assert f"As of {pages.services.clock():%Y-%m-%d}" in page.texts
    assert "81 of 90 readings 90 % (80 % interval 81 to 95 %), last 30 days" in (
        page.texts
    )
    for said in (
        "See whether it has a limit, and consider 80 %",
        "See whether the setting still holds",
        "Hot: find out why, and look for signs of swelling",
        "not hours",
        "What the holder needs comes first",
        "Keil et al. 2016",
    ):
        assert said in page.texts


async def test_filters_stand_in_the_address_and_stay_from_page_to_page(
    pages: Pages,
) -> None:
    found: list[int] = []
    path = "/charging?packs=all&limit=not+reported"
    while path:
        page = await pages.get(path)
        found += packs_of(page)
        following = [n for n in page.all("a") if n.attributes.get("rel") == "next"]
        path = (following[0].attributes["href"] or "") if following else ""
        assert not path or ("packs=all" in path and "limit=not+reported" in path)

    odd = [number for number in found if number % 2 == 0]
    assert odd == []
    assert len(set(found)) == len(found)
    whole = await pages.get("/charging?packs=all")
    assert len(packs_of(whole)) == PAGE_ROWS


@pytest.mark.parametrize(
    "query", ["limit=maybe", "packs=some", "after=nonsense", "site=%00"]
)
async def test_an_address_that_means_nothing_is_refused(
    pages: Pages, query: str
) -> None:
    page = await pages.get(f"/charging?{query}")

    assert page.status == 400


async def test_nothing_found_and_nothing_told_yet_are_said_apart(
    pages: Pages, services: Services
) -> None:
    narrowed = await pages.get("/charging?site=Nowhere")
    async with services.store.writing() as connection:
        await connection.execute(delete(charging_habits))
    none_left = await pages.get("/charging")
    async with services.store.writing() as connection:
        await connection.execute(
            delete(store_values).where(store_values.c.name == AS_OF)
        )
    untold = await pages.get("/charging")

    assert "No pack matches" in narrowed.texts
    assert "No pack is mostly near full" in none_left.texts
    assert "have not been told yet" in untold.texts


async def test_a_packs_page_and_its_laptops_tell_how_it_is_charged(
    pages: Pages,
) -> None:
    of_pack = await pages.get(f"/packs/{HOT_PACK}")
    laptop = of_pack.one("p", class_="lead")
    link = next(
        node.attributes["href"] or ""
        for node in of_pack.all("a")
        if (node.attributes.get("href") or "").startswith("/laptops/")
    )
    of_laptop = await pages.get(link)

    assert "In " in laptop.text
    for page in (of_pack, of_laptop):
        assert "Mostly near full on mains charge limit: 100 %, not in use" in page.texts
        assert "in 81 of 90 readings of the last 30 days" in page.texts
        assert "The laptop has a charge limit, now at 100 %" in page.texts
        assert "at 43 °C then" in page.texts
        assert "Fadewatch never changes a setting" in page.texts


async def test_a_pack_that_is_gone_has_no_charging_section(pages: Pages) -> None:
    page = await pages.get("/packs/2")
    laptop = await pages.get(f"/laptops/{SWAPPED_LAPTOP}")

    assert not page.all("section", class_="charging")
    assert len(laptop.all("section", class_="charging")) == 1


async def test_the_csv_is_a_download(pages: Pages) -> None:
    page = await pages.ask("/exports/charging.csv")

    assert page.status == 200
    assert "fadewatch-charging-" in page.headers["Content-Disposition"]
    assert page.body.startswith(",".join(CHARGING_CSV_COLUMNS) + "\r\n")
    assert page.body.endswith("\r\n")
