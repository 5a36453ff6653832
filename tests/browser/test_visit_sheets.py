"""Visit sheets as they come out of the printer, and the code that is scanned."""

import io
from datetime import date
from typing import Any

import pytest
import zxingcpp
from PIL import Image
from playwright.async_api import Page
from pypdf import PdfReader
from sqlalchemy import insert, update

from fadewatch_collector.rules.alert_terms import ALERT_KINDS, URGENCIES
from fadewatch_collector.store import tables
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visits import Plan, plan_visits
from tests.browser.browsing import IN_A_BROWSER, TOO_WIDE, sign_in
from tests.fixtures.shown_fleet import STOP_USE_LAPTOP, TWO_PACK_LAPTOP
from tests.fleet import technician

pytestmark = IN_A_BROWSER

LONG = "an uncommonly long name that somebody typed "
PAPERS = ("A4", "Letter")

TALKATIVE_LAPTOP = 10
PLANNED_LAPTOPS = (STOP_USE_LAPTOP, TWO_PACK_LAPTOP, TALKATIVE_LAPTOP)
SAID_AT_LENGTH = ("identity-clash", "hardware-changed", "silent")
"""Kinds with which a laptop has as many matters as may take two sentences each."""


async def fill_to_the_brim(services: Services) -> None:
    """Give one laptop more of everything than a sheet has room for."""
    laptop, now = tables.laptops.c, services.clock()
    slots = [
        {"locator": f"Slot {n} {LONG}", "size_mib": 512 * (n % 2), "kind": "DDR4"}
        for n in range(24)
    ]
    drives: list[dict[str, Any]] = [
        {
            "name": f"sd{n} {LONG}",
            "size_bytes": 32 * 10**9,
            "kind": "hdd",
            "model": LONG,
        }
        for n in range(12)
    ]
    async with services.store.writing() as connection:
        await connection.execute(
            update(tables.laptops)
            .where(laptop.id == TWO_PACK_LAPTOP)
            .values(
                hostname=(LONG * 6)[:253], maker=LONG * 3, model=LONG * 3,
                serial=LONG * 3, holder=LONG * 4, asset_tag=LONG * 4, site=LONG * 4,
                memory={"total_mib": 6144, "slots": slots}, drives=drives,
            )
        )  # fmt: skip
        for number in range(6):
            await add_pack(connection, 900 + number, now)
        await connection.execute(
            insert(tables.alerts),
            [
                *(alert(TWO_PACK_LAPTOP, kind, 900, now) for kind in ALERT_KINDS),
                *(alert(TALKATIVE_LAPTOP, kind, None, now) for kind in SAID_AT_LENGTH),
            ],
        )
    pat = await technician(services)
    plan = Plan(
        on=date(2026, 4, 1), assigned_to="pat", note=LONG * 40, with_alerts=False
    )
    await plan_visits(services, PLANNED_LAPTOPS, plan, pat)


async def add_pack(connection: Any, number: int, now: Any) -> None:
    await connection.execute(
        insert(tables.packs).values(
            id=number, maker=LONG * 3, model=LONG * 3, serial=LONG * 3, unit="mWh",
            chemistry="Li-ion", design_capacity=57_000, design_voltage_mv=11_400,
            full_charge_capacity=30_000, first_seen_at=now, last_seen_at=now,
        )
    )  # fmt: skip
    await connection.execute(
        insert(tables.slot_stays).values(
            laptop_id=TWO_PACK_LAPTOP, slot=f"Z{number} {LONG}"[:64], pack_id=number,
            from_at=now, last_seen_at=now,
        )
    )  # fmt: skip
    await connection.execute(
        insert(tables.assessments).values(
            pack_id=number, as_of=now.date(), readings=9, wear=0.47, band="replace",
            concern="inspect", reasons=[LONG * 20] * 6,
        )
    )  # fmt: skip


def alert(laptop: int, kind: str, pack: int | None, now: Any) -> dict[str, Any]:
    return {
        "kind": kind, "urgency": "act", "urgency_rank": URGENCIES.index("act"),
        "state": "open", "subject": f"{laptop}:{pack}", "pack_id": pack,
        "laptop_id": laptop, "opened_at": now, "changed_at": now,
        "reasons": [LONG * 20] * 9, "next_step": LONG, "figures_opened": {},
        "figures_now": {},
    }  # fmt: skip


async def printed(page: Page, paper: str) -> list[str]:
    """Print the page as it stands, and return the text of each sheet of paper."""
    made = await page.pdf(format=paper)
    return [sheet.extract_text() for sheet in PdfReader(io.BytesIO(made)).pages]


async def test_each_laptop_takes_one_page_even_the_fullest_one(
    page: Page, services: Services
) -> None:
    await fill_to_the_brim(services)
    await sign_in(page)
    await page.goto("/visits/sheets?state=planned")
    names = await page.locator("article.visit-sheet h2").all_inner_texts()

    for paper in PAPERS:
        texts = await printed(page, paper)

        assert any(name.startswith(LONG[:30]) for name in names)
        assert len(texts) == len(names) == len(PLANNED_LAPTOPS)
        for name, text in zip(names, texts, strict=True):
            assert name[:12] in text
            assert "No signature is needed" in text


async def test_one_sheet_prints_without_the_forms_around_it(page: Page) -> None:
    await sign_in(page)
    await page.goto(f"/laptops/{TWO_PACK_LAPTOP}/sheet")

    (text,) = await printed(page, "A4")

    assert "Bring" in text
    assert "Mark it done" not in text
    assert "Sign out" not in text


@pytest.mark.parametrize("colours", ["light", "dark"])
async def test_the_code_leads_to_the_laptops_page(page: Page, colours: Any) -> None:
    await page.emulate_media(color_scheme=colours)
    await sign_in(page)
    await page.goto(f"/laptops/{TWO_PACK_LAPTOP}/sheet")

    drawn = await page.locator(".sheet-code svg").screenshot()
    (code,) = zxingcpp.read_barcodes(Image.open(io.BytesIO(drawn)).convert("L"))

    home = page.url.split("/laptops/")[0]
    assert code.text == f"{home}/laptops/{TWO_PACK_LAPTOP}"
    shown = await page.locator(".sheet-code figcaption").inner_text()
    assert shown.replace("\n", "") == code.text


@pytest.mark.parametrize(
    ("width", "scripts"),
    [(390, False), (1440, True)],
    indirect=["scripts"],
    ids=["phone without scripts", "desk"],
)
async def test_a_visit_is_planned_and_marked_done_from_the_sheet(
    page: Page, services: Services, width: int
) -> None:
    await page.set_viewport_size({"width": width, "height": 900})
    await sign_in(page)
    await page.get_by_role("link", name="Visits").click()
    assert await page.evaluate(TOO_WIDE) <= 0
    await page.goto(f"/laptops/{TWO_PACK_LAPTOP}/sheet")
    day = services.clock().date().isoformat()

    await page.locator("summary", has_text="Plan a visit").click()
    await page.get_by_label("Day", exact=True).fill(day)
    await page.get_by_label("Who goes").select_option("mira")
    await page.get_by_role("button", name="Plan the visit").click()
    planned = await page.get_by_role("status").inner_text()
    lead = await page.locator(".on-screen .lead").inner_text()
    await page.locator("summary", has_text="Mark it done").click()
    await page.get_by_label("pack changed").check()
    await page.get_by_label("hinge screws tightened").check()
    await page.get_by_label("Note: found").fill("left hinge was loose")
    await page.get_by_role("button", name="Mark it done").click()
    done = await page.get_by_role("status").inner_text()
    assert await page.evaluate(TOO_WIDE) <= 0
    await page.goto(f"/laptops/{TWO_PACK_LAPTOP}#history")
    history = await page.locator("section[aria-labelledby=history]").inner_text()

    assert planned == "The visit is planned."
    assert f"planned for {day}, mira goes" in lead
    assert done.startswith("Kept: the visit is done.")
    assert "Visit done: pack changed, hinge screws tightened" in history
    assert "left hinge was loose" in history
