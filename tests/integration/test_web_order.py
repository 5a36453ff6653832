"""The order list's pages: what they say, who may change stock, and files of it."""

from collections.abc import AsyncIterator
from urllib.parse import quote

import pytest
from aiohttp import FormData

from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import find_stock
from tests.integration.pages_service import Page, Pages, running_pages
from tests.order_fleet import BROOK_KEY, FIVE, HEATH_KEY, Fitted, fit

TYPE = f"/order/type?pack_type={quote(BROOK_KEY)}"
ENTERED = {
    "on_hand": "1",
    "on_order": "",
    "expected_on": "",
    "lead_time_days": "20",
    "price": "60.00",
    "note": "shelf 3",
}


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    async with running_pages(services) as found:
        yield found


async def enter(pages: Pages, **typed: str) -> Page:
    """Open a type's page, fill its form in and send it."""
    form = await pages.get(TYPE)
    return await pages.post(
        "/order/type",
        {
            "form_token": form.field("form_token"),
            "pack_type": BROOK_KEY,
            "version": form.field("version"),
            **ENTERED,
            **typed,
        },
    )


async def test_the_list_says_what_to_buy_and_by_when(pages: Pages) -> None:
    await fit(pages.services, *FIVE)
    await pages.sign_in()
    assert (await enter(pages)).status == 303

    page = await pages.get("/order")

    assert "what the forecasts of 5 packs in use ask for" in page.texts
    (row,) = [node for node in page.all("tr") if "TV-B57" in node.text]
    words = " ".join(row.text.split())
    assert "57.0 Wh, 11.4 V, Li-ion 3 in use" in words
    # The clock stands on 2 March: a pack is missing on 1 April, an order takes 20 days.
    assert "2026-03-12 a pack may be missing from 2026-04-01" in words
    assert "1 on hand 0 of 1 needed 1 of 2 needed 1 of 2 needed 2" in words
    assert "1 of 2 pack types has no lead time yet" in page.texts
    assert "1 pack cannot be forecast" in page.texts
    assert "Not in it: 1 of these packs" in page.texts


async def test_what_a_person_enters_is_kept_and_shown_again(pages: Pages) -> None:
    await fit(pages.services, *FIVE)
    await pages.sign_in()
    await enter(pages)
    page = await pages.get(TYPE)
    assert page.one("input", name="price").attributes["value"] == "60.00"
    assert page.one("input", name="lead_time_days").attributes["value"] == "20"
    assert "Changed 2026-03-02" in page.texts


@pytest.mark.parametrize(
    ("name", "typed", "why"),
    [
        ("on_hand", "many", "he number on hand is a whole number"),
        ("price", "12.345", "he price is a number of EUR"),
        ("expected_on", "2026-04-01", "needs a number on order"),
        ("lead_time_days", "999", "between 0 and 730"),
    ],
)
async def test_what_cannot_be_kept_is_said_and_nothing_typed_is_lost(
    pages: Pages, name: str, typed: str, why: str
) -> None:
    await fit(pages.services, *FIVE)
    await pages.sign_in()
    page = await enter(pages, **{name: typed})
    assert page.status == 400
    assert why in page.one("p", role="alert").text
    assert page.one("input", name=name).attributes["value"] == typed
    assert (await find_stock(pages.services, BROOK_KEY)).version == 0


async def test_whoever_is_second_is_told_who_was_first(pages: Pages) -> None:
    await fit(pages.services, *FIVE)
    await pages.sign_in()
    form = {
        "form_token": (await pages.get(TYPE)).field("form_token"),
        "pack_type": BROOK_KEY,
        "version": "0",
        **ENTERED,
    }
    assert (await pages.post("/order/type", form)).status == 303
    second = await pages.post("/order/type", form | {"on_hand": "9"})
    assert second.status == 409
    assert "changed by mira" in second.one("p", role="alert").text
    assert (await find_stock(pages.services, BROOK_KEY)).figures.on_hand == 1


async def test_a_viewer_reads_the_list_and_may_enter_nothing(pages: Pages) -> None:
    await fit(pages.services, *FIVE)
    await pages.sign_in("viewer")
    assert (await pages.get("/order")).status == 200
    page = await pages.get(TYPE)
    assert page.status == 200
    assert page.all("input", name="on_hand") == []
    assert (await enter_as_viewer(pages, page)).status == 403
    assert (await pages.get("/order/stock")).status == 403
    assert (await find_stock(pages.services, BROOK_KEY)).version == 0


async def enter_as_viewer(pages: Pages, page: Page) -> Page:
    token = page.all("input", name="form_token")[0].attributes["value"] or ""
    form = {"form_token": token, "pack_type": BROOK_KEY, "version": "0", **ENTERED}
    return await pages.post("/order/type", form)


async def test_a_form_without_its_token_is_refused(pages: Pages) -> None:
    await fit(pages.services, *FIVE)
    await pages.sign_in()
    form = {"pack_type": BROOK_KEY, "version": "0", **ENTERED}
    await pages.post("/order/type", form)
    assert (await find_stock(pages.services, BROOK_KEY)).version == 0


async def test_a_type_in_doubt_is_marked_with_a_laptop_to_look_at(pages: Pages) -> None:
    await fit(pages.services, Fitted(maker=None, hostname="lt-odd"), *FIVE[1:])
    await pages.sign_in("viewer")
    page = await pages.get("/order")
    assert "The packs do not name their maker." in page.texts
    (link,) = page.all("a", href="/laptops/1")
    assert link.text == "lt-odd"


async def test_the_packs_behind_a_line_are_shown_in_parts(pages: Pages) -> None:
    await fit(pages.services, *[Fitted(days=(90, 120, 200))] * 51, FIVE[0])
    await pages.sign_in("viewer")
    first = await pages.get(TYPE)
    after = first.one("a", rel="next")
    rest = await pages.get(after.attributes["href"] or "")
    assert len(first.all("tr", role="row")) == 51
    assert "due now" in first.texts
    assert len(rest.all("tr", role="row")) == 3
    assert "2026-05-31" in rest.texts


@pytest.mark.parametrize(
    ("key", "status"), [("nonsense", 400), ("a|b|mWh|1|2", 404), ("", 400)]
)
async def test_a_type_that_is_none_is_not_found(
    pages: Pages, key: str, status: int
) -> None:
    await pages.sign_in("viewer")
    page = await pages.get(f"/order/type?pack_type={quote(key)}")
    assert page.status == status


async def test_names_from_firmware_are_shown_and_never_run(pages: Pages) -> None:
    evil = "<script>alert(1)</script>"
    await fit(pages.services, Fitted(model=evil, maker='"><b>', site=evil, band="plan"))
    await pages.sign_in()
    for path in ("/order", "/order/stock"):
        page = await pages.get(path)
        assert page.status == 200
        assert evil not in page.body
        (link,) = [n for n in page.all("a") if evil in n.text][:1]
        assert (await pages.get(link.attributes["href"] or "")).status == 200


async def test_a_file_is_shown_first_and_then_imported(pages: Pages) -> None:
    await fit(pages.services, *FIVE)
    await pages.sign_in()
    page = await pages.get("/order/stock")
    form = FormData()
    form.add_field("form_token", page.field("form_token"))
    form.add_field(
        "file",
        f"pack_type,on_hand,price\r\n{HEATH_KEY},4,64.90\r\n".encode(),
        filename="stock.csv",
    )
    plan = await pages.post("/order/stock/dry-run", form)
    assert "on hand - -> 4, price - -> 64.90 EUR" in plan.texts
    assert (await find_stock(pages.services, HEATH_KEY)).version == 0

    done = await pages.post(
        "/order/stock/import",
        {name: plan.field(name) for name in ("form_token", "seen", "content")},
    )
    assert done.status == 303
    assert (await find_stock(pages.services, HEATH_KEY)).figures.on_hand == 4


@pytest.mark.parametrize("name", ["order", "budget", "order-packs", "stock"])
async def test_every_file_can_be_taken_home_by_a_viewer(
    pages: Pages, name: str
) -> None:
    await fit(pages.services, *FIVE)
    await pages.sign_in("viewer")
    answer = await pages.get(f"/exports/{name}.csv")
    assert answer.status == 200
    assert f"fadewatch-{name}-2026-03-02.csv" in answer.headers["Content-Disposition"]
    assert answer.body.count("\r\n") > 2


async def test_an_empty_fleet_has_a_page_that_says_so(pages: Pages) -> None:
    await pages.sign_in()
    assert "There is nothing to order by yet" in (await pages.get("/order")).texts
    assert (await pages.get("/order/stock")).status == 200
