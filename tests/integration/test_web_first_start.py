"""With an empty store every page says honestly why it is empty, and what comes next."""

from collections.abc import AsyncIterator

import pytest

from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.routes import PAGE_ROUTES
from tests.fixtures.shown_fleet import fill
from tests.integration.pages_service import Pages, running_pages

ABOUT_LAPTOPS = {
    "/": "No laptop has reported yet",
    "/laptops": "No laptop has reported yet",
    "/agents": "Versions stand here once laptops report",
    "/issue": "No laptop has reported yet",
    "/order": "There is nothing to order by yet",
    "/order/stock": "Pack types appear here once laptops report",
    "/visits": "There is no laptop to visit yet",
    "/visits/sheets": "there is no sheet to print",
    "/fleet": "No pack has been reported yet",
    "/charging": "No pack has been reported yet",
    "/removed": "No pack has been removed yet",
    "/places": "a file would match none of them",
}
"""Pages that are empty because no laptop is there, and what they say of it."""

OTHERS = {
    "/about": "none yet",
    "/agents/set-up": "An enrolment token",
    "/visits?state=done": "No visit matches",
    "/settings/policy": "Sites and models can be chosen here once laptops have reported",
    "/settings/told": "Nobody is told yet",
    "/settings/tokens": "No enrolment token yet. Make one here",
    "/settings/accounts": "Add an account",
}

NOT_LISTS = {
    "/find",
    "/fleet/packs",
    "/order/type",
    "/live",
    "/settings/policy/edit",
    "/inspected/{answer}",
    "/account",
    "/sign-in",
    "/sign-in/once",
    "/sign-in/organisation",
    "/sign-in/organisation/back",
    "/sign-in/organisation/out",
}
"""Addresses that list nothing, or that only what is listed leads to."""


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    async with running_pages(services) as pages:
        await pages.sign_in("administrator")
        yield pages


async def test_pages_about_laptops_say_how_the_first_one_comes_here(
    pages: Pages,
) -> None:
    address = str(pages.client.make_url("/")).rstrip("/")
    install = f"fadewatch-agent install --collector {address} --token-file token.txt"

    for path, said in ABOUT_LAPTOPS.items():
        page = await pages.get(path)

        assert page.status == 200, path
        assert said in page.texts, path
        assert "fadewatch-collector token new --label" in page.texts, path
        assert install in page.texts, path


async def test_other_pages_say_why_they_are_empty(pages: Pages) -> None:
    for path, said in OTHERS.items():
        page = await pages.get(path)

        assert page.status == 200, path
        assert said in page.texts, path


async def test_no_page_asks_for_a_first_laptop_once_there_are_some(
    pages: Pages, services: Services
) -> None:
    await fill(services.store, services.clock(), laptops=24)

    for path in (*ABOUT_LAPTOPS, "/order?x=1", "/visits?state=planned"):
        page = await pages.get(path)

        assert page.status == 200, path
        assert "No laptop has reported yet" not in page.texts, path


def test_every_list_has_its_word_here() -> None:
    """A page that is added later has to say something when it is empty."""
    known = {path.partition("?")[0] for path in (*ABOUT_LAPTOPS, *OTHERS)}
    lists = {
        route.path
        for route in PAGE_ROUTES
        if route.method == "GET"
        and not route.path.startswith("/exports/")
        and "_id}" not in route.path
        and "{token}" not in route.path
    }

    assert lists - NOT_LISTS == known
