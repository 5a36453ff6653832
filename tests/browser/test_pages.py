"""The pages in a real browser: layout, keyboard, content policy, downloads."""

import csv
from datetime import UTC, datetime, timedelta
from typing import Literal

from playwright.async_api import Browser, Page
from sqlalchemy import update

from fadewatch_collector.store.tables import alerts
from fadewatch_collector.usecases.accounts import make_single_sign_in, sign_in_path
from fadewatch_collector.usecases.finding import keep_search_terms
from fadewatch_collector.usecases.services import Services
from tests.browser.addresses import PATHS
from tests.browser.browsing import IN_A_BROWSER, TOO_WIDE, sign_in
from tests.fixtures.shown_fleet import STOP_USE_LAPTOP
from tests.fixtures.shown_work import fill_work
from tests.integration.pages_service import NAME, Pages

WIDTHS = (390, 768, 1440, 1920)
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
LIFETIME = timedelta(minutes=15)

FAINT_TEXTS = """() => {
  const parse = text => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => {
    const part = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  };
  const behind = element => {
    for (let e = element; e; e = e.parentElement) {
      const colour = parse(getComputedStyle(e).backgroundColor);
      if (colour.length < 4 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const faint = [];
  for (const element of document.body.querySelectorAll("*")) {
    const text = [...element.childNodes].some(n => n.nodeType === 3 && n.data.trim());
    if (!text || !element.checkVisibility()) continue;
    const style = getComputedStyle(element);
    const ink = parse(element.closest("svg") ? style.fill : style.color);
    const [a, b] = [light(ink), light(behind(element))].sort((x, y) => y - x);
    const contrast = (a + 0.05) / (b + 0.05);
    if (contrast < 4.5) faint.push([element.textContent.trim(), contrast]);
  }
  return faint;
}"""

SMALL_CONTROLS = """() => {
  const inText = e => getComputedStyle(e).display === "inline";
  return [...document.querySelectorAll("a, button, input, select, summary, textarea")]
    .filter(e => e.checkVisibility() && e.type !== "hidden" && !inText(e))
    // A tick box is as large as the label it stands in.
    .map(e => ["checkbox", "radio"].includes(e.type) ? e.closest("label") : e)
    .filter(e => e.className !== "skip")
    .map(e => [e.textContent.trim(), e.getBoundingClientRect()])
    .filter(([, box]) => box.width < 24 || box.height < 24)
    .map(([text, box]) => [text, box.width, box.height]);
}"""

pytestmark = IN_A_BROWSER


async def test_a_technician_goes_from_sign_in_to_a_laptop_and_out(page: Page) -> None:
    await sign_in(page)
    await page.get_by_role("combobox", name="Urgency").select_option("act")
    await page.get_by_role("button", name="Show").click()
    await page.get_by_role("link", name="old-lt-022").click()
    heading = await page.get_by_role("heading", level=1).inner_text()
    await page.get_by_role("button", name="Sign out").click()
    await page.goto("/laptops")

    assert heading == "old-lt-022"
    assert "/sign-in" in page.url


async def test_a_one_time_link_signs_in_by_its_button(
    page: Page, services: Services
) -> None:
    token = await make_single_sign_in(services, NAME, LIFETIME)

    await page.goto(sign_in_path(token))
    await page.get_by_role("button", name="Sign in").click()

    assert await page.get_by_role("heading", level=1).inner_text() == "Alerts"


async def test_no_page_is_wider_than_the_screen_or_breaks_the_content_policy(
    page: Page, services: Services
) -> None:
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("requestfailed", lambda request: said.append(request.url))
    await fill_work(services)
    await sign_in(page)

    for path in PATHS:
        await page.goto(path)
        for width in WIDTHS:
            await page.set_viewport_size({"width": width, "height": 900})
            assert await page.evaluate(TOO_WIDE) <= 0, (path, width)
    # The browser itself notes the one page that is not there, and ends the stream of
    # news when one leaves the list.
    known = ("404", "/live")
    assert [text for text in said if not any(part in text for part in known)] == []


async def test_the_keyboard_reaches_the_page_and_shows_where_it_is(page: Page) -> None:
    await sign_in(page)
    await page.goto("/")

    await page.keyboard.press("Tab")
    skip = await page.evaluate("document.activeElement.textContent")
    outline = await page.evaluate("getComputedStyle(document.activeElement).outline")
    await page.keyboard.press("Enter")
    focused = await page.evaluate("document.activeElement.id")

    assert skip == "Skip to the page"
    assert "solid 3px" in outline
    assert focused == "main"


async def test_text_stands_out_from_what_is_behind_it(
    page: Page, services: Services
) -> None:
    """WCAG 2.2, 1.4.3: a contrast of 4.5 to 1 or more."""
    await fill_work(services)
    await sign_in(page)

    for path in PATHS:
        await page.goto(path)
        for scheme in SCHEMES:
            await page.emulate_media(color_scheme=scheme)
            assert await page.evaluate(FAINT_TEXTS) == [], (path, scheme)


async def test_controls_are_large_enough_to_touch(
    page: Page, services: Services
) -> None:
    """WCAG 2.2, 2.5.8: 24 by 24 CSS pixels or more."""
    await page.set_viewport_size({"width": 390, "height": 844})
    await fill_work(services)
    await sign_in(page)

    for path in PATHS:
        await page.goto(path)
        assert await page.evaluate(SMALL_CONTROLS) == [], path


async def test_phones_get_a_plot_of_their_own(page: Page) -> None:
    await sign_in(page)
    await page.goto(f"/laptops/{STOP_USE_LAPTOP}")
    wide, narrow = page.locator("svg.plot-wide"), page.locator("svg.plot-narrow")

    await page.set_viewport_size({"width": 1440, "height": 900})
    on_desk = (await wide.first.is_visible(), await narrow.first.is_visible())
    await page.set_viewport_size({"width": 390, "height": 844})
    on_phone = (await wide.first.is_visible(), await narrow.first.is_visible())
    box = await narrow.first.locator("text").first.bounding_box()

    assert (on_desk, on_phone) == ((True, False), (False, True))
    assert box is not None
    assert box["height"] >= 11


async def test_the_fleet_csv_is_taken_home(page: Page) -> None:
    await sign_in(page)

    async with page.expect_download() as started:
        await page.get_by_role("link", name="Fleet CSV").click()
    download = await started.value
    path = await download.path()

    assert download.suggested_filename == "fadewatch-fleet-2026-03-02.csv"
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert {row["site"] for row in rows} >= {"Old Mill", "Workshop"}


async def test_a_charging_filter_leads_to_a_laptop_and_its_pack(page: Page) -> None:
    await page.set_viewport_size({"width": 390, "height": 844})
    await sign_in(page)
    await page.goto("/charging")
    await page.get_by_role("combobox", name="Charge limit").select_option("reported")
    await page.get_by_role("button", name="Show").click()
    await page.locator("a[href*='#pack-6']").click()
    said = await page.locator("section.charging").first.inner_text()
    summary = page.get_by_text("What a limit costs").first
    await summary.click()

    assert "#pack-6" in page.url
    assert "now at 100 %: a limit of 80 % is worth considering" in said
    assert await page.get_by_text("What the holder needs comes first").is_visible()
    assert await page.evaluate(TOO_WIDE) <= 0


async def test_the_browser_keeps_no_page_after_signing_out(page: Page) -> None:
    await sign_in(page)
    await page.goto("/laptops")
    await page.get_by_role("button", name="Sign out").click()

    await page.go_back()

    assert "/sign-in" in page.url


async def test_laptops_are_suggested_as_one_types_and_reached_by_keyboard(
    page: Page, services: Services
) -> None:
    await keep_search_terms(services)
    await sign_in(page)
    field = page.get_by_role("combobox", name="Find a laptop")

    await field.press_sequentially("wor-lt")
    await page.get_by_role("option").first.wait_for()
    await field.press("ArrowDown")
    chosen = page.get_by_role("option", selected=True)
    name = await chosen.locator("strong").inner_text()
    await field.press("Enter")

    await page.get_by_role("heading", name=name, exact=True, level=1).wait_for()


async def test_a_day_is_read_off_the_plot_by_pointer_and_by_keys(page: Page) -> None:
    await sign_in(page)
    await page.goto(f"/laptops/{STOP_USE_LAPTOP}")
    slider = page.get_by_role("slider", name="Read a day off the plot").first
    newest = await slider.get_attribute("aria-valuetext")

    await slider.press("Home")
    oldest = await slider.get_attribute("aria-valuetext")
    assert oldest is not None
    assert newest is not None
    assert ": wear " in oldest
    assert oldest < newest
    await page.locator("svg.plot-wide").first.hover(position={"x": 500, "y": 60})

    assert await slider.get_attribute("aria-valuetext") not in {oldest, newest}
    assert await page.locator("svg.plot-wide .pointer circle").count() == 1


async def test_moments_are_shown_in_the_browsers_own_zone(
    browser: Browser, pages: Pages, services: Services
) -> None:
    # Nine in the evening in UTC is the next day in Auckland (UTC+13 in March).
    at = datetime(2026, 2, 27, 21, 5, tzinfo=UTC)
    async with services.store.writing() as connection:
        await connection.execute(update(alerts).values(opened_at=at))
    context = await browser.new_context(
        base_url=str(pages.client.make_url("/")), timezone_id="Pacific/Auckland"
    )
    page = await context.new_page()
    await sign_in(page)

    opened = page.locator("#alerts time").first
    assert await opened.inner_text() == "2026-02-28"
    assert await opened.get_attribute("title") == "2026-02-28 10:05 UTC+13:00"
    await context.close()
