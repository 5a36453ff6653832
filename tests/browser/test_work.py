"""A technician's work, and a holder's answer, in a real browser."""

import csv
from datetime import date, timedelta
from typing import Any

import pytest
from playwright.async_api import BrowserContext, Page
from sqlalchemy import insert, select

from fadewatch_collector.store import tables
from fadewatch_collector.usecases.accounts import add_operator
from fadewatch_collector.usecases.services import Services
from tests.browser.browsing import IN_A_BROWSER, TOO_WIDE, bring, opened, sign_in
from tests.fixtures.shown_fleet import alert_row
from tests.integration.web_acts import add_swap, rows

pytestmark = IN_A_BROWSER

DESK, PHONE = (1440, 900), (390, 844)

CROSSED = pytest.mark.parametrize(
    ("screen", "scripts"),
    [(DESK, True), (PHONE, False)],
    indirect=["scripts"],
    ids=["desk", "phone without scripts"],
)
"""Both sizes, with scripts and without: a collector for each of four is dear."""


async def size(page: Page, of: tuple[int, int]) -> None:
    await page.set_viewport_size({"width": of[0], "height": of[1]})


async def said(page: Page) -> str:
    assert await page.evaluate(TOO_WIDE) <= 0
    return await page.locator("main > [role=status]").first.inner_text()


@CROSSED
async def test_an_alert_is_planned_the_swap_confirmed_and_the_pack_handed_over(
    page: Page, services: Services, screen: tuple[int, int]
) -> None:
    _, number = await add_swap(services)
    await size(page, screen)
    await sign_in(page)
    await page.goto("/?kind=wear-replace")
    await page.get_by_role("link", name="Replace the pack").first.click()

    await page.get_by_label("Plan it for a day").fill("2026-03-09")
    await page.get_by_role("button", name="Set the day").click()
    planned = await said(page)
    await page.goto("/?kind=swap-to-confirm")
    await page.get_by_role("link", name="Confirm the swap").click()
    await page.get_by_label("no", exact=True).check()
    await page.get_by_role("button", name="Confirm the swap").click()
    confirmed = await said(page)
    await page.get_by_role("link", name="Removed packs").click()
    await opened(page, "Set aside or hand over")
    await page.get_by_label("Where it lies").fill("metal box")
    await page.get_by_role("button", name="Set aside").click()
    aside = await said(page)
    await opened(page, "Set aside or hand over")
    await page.get_by_label("How it leaves").select_option("collection point")
    await page.get_by_role("button", name="Hand over").click()
    gone = await said(page)
    await page.get_by_role("link", name="Veldan VC-57X").click()

    assert planned == "The day is set."
    assert "register of removed packs" in confirmed
    assert (aside, gone) == (
        "Kept: the pack is set aside.",
        "Kept: the pack was handed over.",
    )
    life = await page.locator("main").inner_text()
    for step in ("Swap confirmed", "Pack set aside: metal box", "collection point"):
        assert step in life
    assert await rows(services, tables.removed_packs.c.state) == [("handed over",)]
    query = select(tables.alerts.c.state).where(tables.alerts.c.id == number)
    async with services.store.reading() as connection:
        assert await connection.scalar(query) == "ended"


@pytest.mark.parametrize("scripts", [True, False], indirect=True)
async def test_a_holder_answers_the_link_on_a_phone(
    page: Page, context: BrowserContext, services: Services
) -> None:
    await sign_in(page)
    await page.goto("/laptops/1")
    await opened(page, "Ask the holder")
    await page.get_by_role("button", name="Make a link").click()
    link = (await page.locator("pre").inner_text()).strip()
    await context.clear_cookies()
    phone = await context.new_page()
    await size(phone, PHONE)
    refused: list[str] = []
    phone.on("requestfailed", lambda request: refused.append(request.url))

    await phone.goto(link)
    wide = await phone.evaluate(TOO_WIDE)
    await phone.get_by_role("button", name="Send the answer").click()
    slip = await phone.get_by_role("alert").inner_text()
    await phone.get_by_label("It rocks on a flat table").check()
    await phone.get_by_role("button", name="Send the answer").click()
    answer = await phone.get_by_role("heading", level=1).inner_text()
    cautions = await phone.locator(".cautions li").count()
    await phone.goto(link)
    again = await phone.get_by_role("heading", level=1).inner_text()

    assert wide <= 0
    assert "Tick every sign you see" in slip
    assert answer == "Stop using the laptop now"
    assert cautions == 8
    assert again == "Thank you, this was answered"
    assert refused == []
    kept = await rows(services, tables.inspections.c.signs)
    assert kept == [(["rocks"],)]


@CROSSED
async def test_places_are_imported_after_a_dry_run(
    page: Page, services: Services, screen: tuple[int, int]
) -> None:
    await size(page, screen)
    await sign_in(page)
    await page.get_by_role("link", name="Places").click()
    await bring(page, b"laptop_serial,asset_tag\r\nTB07919,NEW-1\r\n")

    await page.get_by_role("button", name="Show what would change").click()
    shown = await page.locator("main").inner_text()
    await page.get_by_role("button", name="Change 1 laptop").click()
    done = await said(page)
    await page.get_by_role("button", name="Undo this import").click()

    assert "asset tag A-4001 → NEW-1" in shown
    assert done == "The places are imported."
    assert await said(page) == "The last import is undone."
    tags = await rows(services, tables.laptops.c.id, tables.laptops.c.asset_tag)
    assert tags[0] == (1, "A-4001")


async def states(services: Services) -> dict[int, tuple[Any, ...]]:
    """Return state, day and operator of the alerts by their number."""
    alert, operator = tables.alerts.c, tables.operators.c
    query = (
        select(alert.id, alert.state, alert.planned_on, operator.name)
        .select_from(tables.alerts)
        .outerjoin(tables.operators, operator.id == alert.assigned_to)
    )
    async with services.store.reading() as connection:
        return {row[0]: tuple(row[1:]) for row in await connection.execute(query)}


@CROSSED
async def test_several_alerts_are_triaged_on_the_list_and_the_lists_taken_home(
    page: Page, services: Services, screen: tuple[int, int]
) -> None:
    await add_operator(services, "pat", "technician", "four geese in a row")
    await size(page, screen)
    await sign_in(page)
    await page.goto("/?kind=wear-replace")
    boxes = page.locator(".pick input")
    chosen = [
        int((await box.get_attribute("name") or "").removeprefix("alert-"))
        for box in (await boxes.all())[:2]
    ]

    async def do(button: str) -> str:
        for box in (await boxes.all())[:2]:
            await box.check()
        await page.get_by_role("button", name=button, exact=True).click()
        return await said(page)

    acknowledged = await do("Acknowledge")
    kept = [await states(services)]
    await page.get_by_label("Day", exact=True).fill("2026-03-09")
    planned = await do("Plan for that day")
    kept.append(await states(services))
    await page.get_by_label("Operator").select_option("pat")
    handed = await do("Hand over")
    kept.append(await states(services))
    async with page.expect_download() as started:
        await page.get_by_role("link", name="These alerts as CSV").click()
    alerts_csv = await (await started.value).path()
    async with page.expect_download() as started:
        await page.get_by_role("link", name="Fleet CSV").click()
    fleet_csv = await (await started.value).path()

    day = date(2026, 3, 9)
    assert (acknowledged, planned, handed) == (
        "Acknowledged, all that were chosen.",
        "The day is set for all that were chosen.",
        "Handed over, all that were chosen.",
    )
    for number in chosen:
        assert [one[number][:2] for one in kept] == [
            ("acknowledged", None),
            ("planned", day),
            ("planned", day),
        ]
        assert kept[-1][number][2] == "pat"
    shown = list(csv.DictReader(alerts_csv.read_text("utf-8").splitlines()))
    assert {row["kind"] for row in shown} == {"wear-replace"}
    assert {int(row["alert"]) for row in shown} >= set(chosen)
    assert "asset_tag" in fleet_csv.read_text("utf-8").splitlines()[0]


async def test_what_was_typed_is_still_there_when_somebody_was_faster(
    page: Page, context: BrowserContext
) -> None:
    await sign_in(page)
    await page.goto("/alerts/1")
    second = await context.new_page()
    await second.goto("/alerts/1")
    await second.get_by_role("button", name="Acknowledge").click()

    await opened(page, "End the alert")
    await page.get_by_label("Reason").fill("The laptop is retired.")
    await page.get_by_role("button", name="End the alert").click()

    assert "look at it again" in await page.get_by_role("alert").inner_text()
    reason = page.get_by_label("Reason")
    assert await reason.is_visible()
    assert await reason.input_value() == "The laptop is retired."


async def test_a_new_alert_appears_while_one_reads_and_moves_nothing(
    page: Page, services: Services
) -> None:
    await sign_in(page)
    await page.get_by_role("heading", name="Alerts", exact=True).wait_for()
    read = page.locator("#alerts > li").last
    await read.scroll_into_view_if_needed()
    before = await read.evaluate("item => item.getBoundingClientRect().top")

    now = services.clock()
    urgent = alert_row(
        "inspect", "act", 5, None, now - timedelta(days=900), "It is worn.", "Look.",
        changed_at=now + timedelta(seconds=1),
    )  # fmt: skip
    async with services.store.writing() as connection:
        await connection.execute(insert(tables.alerts).values(**urgent))

    await page.get_by_role("status").get_by_text("New: ").wait_for(timeout=20_000)
    after = await read.evaluate("item => item.getBoundingClientRect().top")
    assert abs(after - before) < 2
    assert await page.locator("#alerts > li.is-new").count() == 1
