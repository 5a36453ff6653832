"""A browser, and the pages with an invented fleet on a real port."""

from collections.abc import AsyncIterator

import pytest
from playwright.async_api import Browser, BrowserContext, Page, async_playwright

from fadewatch_collector.usecases.accounts import add_operator
from fadewatch_collector.usecases.services import Services
from tests.browser.browsing import ARGUMENTS, CHROMIUM
from tests.fixtures.shown_charging import fill_charging
from tests.fixtures.shown_fleet import fill
from tests.integration.pages_service import NAME, PASSWORD, Pages, running_pages


@pytest.fixture
async def browser() -> AsyncIterator[Browser]:
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(
            executable_path=CHROMIUM, args=list(ARGUMENTS)
        )
        yield browser
        await browser.close()


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    await fill(services.store, services.clock(), laptops=24)
    await fill_charging(services)
    await add_operator(services, NAME, "administrator", PASSWORD)
    async with running_pages(services) as pages:
        yield pages


@pytest.fixture
def scripts(request: pytest.FixtureRequest) -> bool:
    """Whether the browser runs the pages' scripts; tests may say no."""
    on: bool = getattr(request, "param", True)
    return on


@pytest.fixture
async def context(
    browser: Browser, pages: Pages, scripts: bool
) -> AsyncIterator[BrowserContext]:
    address = str(pages.client.make_url("/"))
    context = await browser.new_context(
        base_url=address, accept_downloads=True, java_script_enabled=scripts
    )
    context.set_default_timeout(10_000)
    yield context
    await context.close()


@pytest.fixture
async def page(context: BrowserContext) -> Page:
    return await context.new_page()
