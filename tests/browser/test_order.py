"""The order list in a real browser: on a phone and a desk, and the way to an order."""

import pytest
from playwright.async_api import Page

from fadewatch_collector.usecases.services import Services
from tests.browser.browsing import IN_A_BROWSER, TOO_WIDE, sign_in

pytestmark = IN_A_BROWSER

WIDTHS = (390, 1440)


async def test_the_order_lists_pages_fit_a_phone_and_a_desk(page: Page) -> None:
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    await sign_in(page)
    await page.goto("/order")
    kind = await page.locator(".order tbody th a").first.get_attribute("href")

    for path in ("/order", kind or "", "/order/stock"):
        await page.goto(path)
        for width in WIDTHS:
            await page.set_viewport_size({"width": width, "height": 900})
            assert await page.evaluate(TOO_WIDE) <= 0, (path, width)
    assert said == []


@pytest.mark.parametrize("width", WIDTHS)
async def test_a_lead_time_is_entered_and_the_list_says_when_to_order(
    page: Page, services: Services, width: int
) -> None:
    await page.set_viewport_size({"width": width, "height": 900})
    await sign_in(page)
    await page.get_by_role("link", name="Order list", exact=True).click()
    before = await page.locator(".order tbody tr").all_inner_texts()
    due = page.locator(".order tbody tr", has_text="lead time?").first
    await due.locator("th a").click()

    await page.get_by_label("Lead time [days]").fill("21")
    await page.get_by_label("Price of one [EUR]").fill("64.90")
    await page.get_by_role("button", name="Keep").click()
    assert "Kept." in await page.get_by_role("status").inner_text()
    assert "an order takes 21 days" in await page.locator("main").inner_text()

    await page.get_by_role("link", name="Order list").last.click()
    after = await page.locator(".order tbody tr").all_inner_texts()
    assert len(after) == len(before)
    assert any("an order takes 21 days" in row for row in after)
    assert services.settings.currency in await page.locator("tfoot").inner_text()
