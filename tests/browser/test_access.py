"""WCAG 2.2 A and AA: what axe-core finds, keyboard, focus, zoom, motion."""

from importlib.resources import files
from typing import Any, Literal
from urllib.parse import unquote

import pytest
from playwright.async_api import Browser, Page

from fadewatch_collector.usecases.services import Services
from tests.browser.addresses import BEFORE_SIGN_IN, PACK_TYPE, PATHS
from tests.browser.browsing import IN_A_BROWSER, TOO_WIDE, bring, opened, sign_in
from tests.fixtures.shown_fleet import SWAPPED_LAPTOP, TWO_PACK_LAPTOP
from tests.fixtures.shown_work import fill_work
from tests.integration.pages_service import Pages

pytestmark = [*IN_A_BROWSER, pytest.mark.timeout(300)]

RULES = [
    "wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice",
]  # fmt: skip
"""Rules of axe-core by the criteria they belong to."""

LOOK = """async rules => {
  // What is folded away is looked at too.
  for (const part of document.querySelectorAll("details")) part.open = true;
  const found = await axe.run({
    runOnly: rules,
    rules: {"target-size": {enabled: true}},
    resultTypes: ["violations"],
    iframes: false,
    preload: false,
  });
  return found.violations.flatMap(rule => rule.nodes.map(
    node => [rule.id, node.target.join(" "), node.failureSummary]));
}"""


SPACED = """() => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(`* { line-height: 1.5 !important; letter-spacing: 0.12em !important;
    word-spacing: 0.16em !important; } p { margin-bottom: 2em !important; }`);
  document.adoptedStyleSheets = [sheet];
}"""
UNSPACED = "() => { document.adoptedStyleSheets = []; }"

WATCH = """() => {
  const shown = e => e.checkVisibility({visibilityProperty: true}) &&
    e.getBoundingClientRect().width > 0;
  for (const part of document.querySelectorAll("details")) part.open = true;
  const all = "a[href], button, input:not([type=hidden]), select, textarea, summary, " +
    "[tabindex='0']";
  window.wanted = new Set([...document.querySelectorAll(all)].filter(shown)
    // One radio button of a group is reached by Tab, the others by the arrows.
    .filter(e => e.type !== "radio" || e.checked ||
      e === document.querySelector(`input[type=radio][name="${e.name}"]`)));
  window.unmarked = [];
  window.hidden = [];
  addEventListener("focusin", ({target}) => {
    wanted.delete(target);
    const {outlineStyle, outlineWidth} = getComputedStyle(target);
    if (outlineStyle === "none" || parseFloat(outlineWidth) < 2)
      unmarked.push(target.outerHTML.slice(0, 90));
    const box = target.getBoundingClientRect();
    const spots = [...target.getClientRects()].flatMap(r => [0.1, 0.5, 0.9].map(
      part => [r.left + r.width * part, r.top + r.height / 2]));
    const onTop = spots.some(([x, y]) => {
      const there = document.elementFromPoint(x, y);
      return there && (target.contains(there) || there.contains(target));
    });
    if (!onTop) hidden.push([target.outerHTML.slice(0, 90), box.top, box.bottom]);
  });
  return wanted.size;
}"""

MOVING = """() => [...document.querySelectorAll("*")].filter(e => {
  const style = getComputedStyle(e);
  return style.animationName !== "none" || parseFloat(style.transitionDuration) > 0
    || style.scrollBehavior === "smooth";
}).length"""

TOLD = "() => [[...wanted].map(e => e.outerHTML.slice(0, 90)), unmarked, hidden]"

WORKED_ON = (
    "/?kind=wear-replace",
    "/alerts/1",
    f"/laptops/{SWAPPED_LAPTOP}",
    f"/laptops/{TWO_PACK_LAPTOP}/sheet",
    "/order",
    f"/order/type?pack_type={PACK_TYPE}",
    "/visits",
    "/fleet",
    "/removed",
    "/settings/told",
    "/settings/accounts",
)


@pytest.fixture
async def looked_at(page: Page, services: Services) -> Page:
    """A page with axe-core beside it, and a fleet that people worked on.

    It runs as the browser's own tools do, which the content policy says nothing about.
    """
    await fill_work(services)
    axe = files("axe_playwright_python").joinpath("axe.min.js")
    await page.add_init_script(axe.read_text(encoding="utf-8"))
    return page


async def found_in(page: Page) -> list[Any]:
    found: list[Any] = await page.evaluate(LOOK, RULES)
    return found


@pytest.mark.parametrize(
    ("width", "scheme"), [(1440, "light"), (390, "dark")], ids=["desk", "phone"]
)
async def test_axe_finds_nothing_on_any_page(
    looked_at: Page, width: int, scheme: Literal["light", "dark"]
) -> None:
    page = looked_at
    await page.set_viewport_size({"width": width, "height": 900})
    await page.emulate_media(color_scheme=scheme)
    found = {}
    for path in BEFORE_SIGN_IN:
        await page.goto(path)
        found[path] = await found_in(page)
    await sign_in(page)
    for path in PATHS:
        await page.goto(path)
        found[path] = await found_in(page)

    assert {path: what for path, what in found.items() if what} == {}


async def test_axe_finds_nothing_on_pages_that_forms_lead_to(looked_at: Page) -> None:
    page = looked_at
    found: list[tuple[str, str, list[Any]]] = []

    async def press(button: str) -> None:
        await page.get_by_role("button", name=button, exact=True).click()
        heading = await page.get_by_role("heading", level=1).inner_text()
        found.append((button, heading, await found_in(page)))

    async def try_file(content: bytes) -> None:
        await bring(page, content)
        await press("Show what would change")

    await page.goto("/sign-in")
    await page.get_by_label("Name").fill("nobody")
    await page.get_by_label("Password").fill("a wrong password")
    await press("Sign in")
    await sign_in(page)
    await page.goto("/places")
    await try_file(b"laptop_serial,asset_tag\r\nTB07919,NEW-1\r\nTB00000,X\r\n")
    await press("Change 1 laptop")
    await page.goto("/order/stock")
    await try_file(
        f"pack_type,on_hand\r\n{unquote(PACK_TYPE)},2\r\nnone,1\r\n".encode()
    )
    await page.goto("/settings/tokens")
    await opened(page, "Make an enrolment token")
    await page.get_by_label("Label, such as “autumn imaging”").fill("spring")
    await press("Make the token")
    await page.goto("/settings/told")
    await opened(page, "Add a route")
    await page.get_by_label("Whom it reaches").fill("the bench")
    await page.locator("select[name=channel]").select_option("webhook")
    await page.get_by_label("Mail address").fill("https://tickets.example/in")
    await press("Add the route")
    await page.goto("/alerts/1")
    await opened(page, "Add a note")
    await page.get_by_label("Note", exact=True).fill("  ")
    await press("Keep the note")
    await page.goto("/laptops/1")
    await opened(page, "Ask the holder")
    await press("Make a link")
    await page.goto((await page.locator("pre").inner_text()).strip())
    await press("Send the answer")

    assert len(found) == 9
    assert [one for one in found if one[2]] == []


async def test_the_keyboard_reaches_everything_in_sight_and_nothing_moves(
    looked_at: Page,
) -> None:
    """WCAG 2.2, 2.1.1, 2.4.7 and 2.4.11: with ticked alerts a bar stands below.

    Who asked for less motion sees none, the link to the page included.
    """
    page, slips = looked_at, {}
    await page.set_viewport_size({"width": 390, "height": 844})
    await page.emulate_media(reduced_motion="reduce")
    await sign_in(page)
    for path in WORKED_ON:
        await page.goto(path)
        if "kind=" in path:
            await page.locator(".pick input").first.check()
            await page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
        assert await page.evaluate(MOVING) == 0, path
        count = await page.evaluate(WATCH)
        for _ in range(count + 30):  # A date has several places to stop at.
            await page.keyboard.press("Tab")
        told = await page.evaluate(TOLD)
        if any(told):
            slips[path] = told

    assert slips == {}


async def test_pages_keep_within_the_screen_at_twice_the_size_and_with_wide_text(
    browser: Browser, pages: Pages, services: Services
) -> None:
    """WCAG 2.2, 1.4.4, 1.4.10 (320 px) and 1.4.12 (text spacing)."""
    await fill_work(services)
    context = await browser.new_context(
        base_url=str(pages.client.make_url("/")),
        viewport={"width": 720, "height": 450},
        device_scale_factor=2,
    )
    page = await context.new_page()
    await sign_in(page)
    wide = []
    for path in PATHS:
        await page.goto(path)
        for width in (720, 320):
            await page.set_viewport_size({"width": width, "height": 450})
            for spaced in (False, True):
                await page.evaluate(SPACED if spaced else UNSPACED)
                if (over := await page.evaluate(TOO_WIDE)) > 0:
                    wide.append((path, width, spaced, over))
    await context.close()

    assert wide == []


async def test_a_form_that_was_not_taken_says_why_where_one_is(
    looked_at: Page,
) -> None:
    """WCAG 2.2, 3.3.1: the reason has the focus, and its field refers to it."""
    await sign_in(looked_at)
    await looked_at.goto("/alerts/1")
    await opened(looked_at, "Add a note")
    await looked_at.get_by_label("Note", exact=True).fill("  ")
    await looked_at.get_by_role("button", name="Keep the note").click()
    why = await looked_at.locator(":focus").inner_text()
    await looked_at.keyboard.press("Tab")
    field = looked_at.locator("textarea:focus")

    assert "The note is empty" in why
    assert await field.get_attribute("aria-invalid") == "true"
    assert await field.get_attribute("aria-describedby") == "refused"
