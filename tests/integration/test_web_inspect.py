"""Inspections: a technician's on the laptop page, a holder's through a link."""

import re
from collections.abc import AsyncIterator
from datetime import timedelta

import pytest

from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.rules.signs import NOT_A_PROOF, SIGNS
from fadewatch_collector.store import tables
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.limits import INSPECT_BURST, INSPECT_EVERY_S
from tests.fakes.clock import StandingClock
from tests.fixtures.shown_fleet import STOP_USE_LAPTOP, fill
from tests.integration.pages_service import Page, Pages, running_pages
from tests.integration.web_acts import HOSTILE, be, rows, send

LAPTOP = "/laptops/1"
KEPT = (tables.inspections.c.who, tables.inspections.c.signs, tables.inspections.c.note)
KINDS = (tables.alerts.c.kind, tables.alerts.c.urgency, tables.alerts.c.laptop_id)


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    """Pages with the invented fleet, and a technician signed in."""
    async with running_pages(services) as pages:
        await pages.sign_in()
        await fill(services.store, services.clock(), laptops=24)
        yield pages


@pytest.fixture
async def link(pages: Pages) -> str:
    """Path of a link to the holder of laptop 1; nobody is signed in any more."""
    path = link_in(await send(pages, LAPTOP, f"{LAPTOP}/ask"))
    pages.client.session.cookie_jar.clear()
    return path


def link_in(page: Page) -> str:
    found = re.search(r"http://[0-9.:]+(/inspect/fwi_[\w-]+)", page.one("pre").text)
    assert found is not None
    return found[1]


async def test_a_technician_records_what_was_seen(
    pages: Pages, services: Services
) -> None:
    answer = await send(
        pages, LAPTOP, f"{LAPTOP}/inspect",
        sign_rocks="yes", sign_gap="yes", note="On the bench.",
    )  # fmt: skip

    assert answer.status == 303
    assert await rows(services, *KEPT) == [("mira", ["rocks", "gap"], "On the bench.")]
    assert ("swelling-reported", "stop-use", 1) in await rows(services, *KINDS)
    page = await pages.get(answer.headers["Location"])
    assert "Signs seen: it rocks on a flat table; the lid or" in page.texts
    assert "On the bench." in page.texts
    assert all(caution in page.texts for caution in STOP_USE_CAUTIONS)
    assert "signs seen" in page.all("svg", role="img")[0].text


async def test_no_sign_is_kept_as_no_more_than_that(
    pages: Pages, services: Services
) -> None:
    answer = await send(pages, LAPTOP, f"{LAPTOP}/inspect", none_seen="yes")

    assert answer.status == 303
    assert await rows(services, *KEPT) == [("mira", [], None)]
    page = await pages.get(LAPTOP)
    assert "No sign was seen slot BAT0" in page.texts
    assert "inspected" in page.all("svg", role="img")[0].text
    assert "is safe" not in page.one("main").text


async def test_nothing_ticked_is_a_slip_and_no_answer(
    pages: Pages, services: Services
) -> None:
    answer = await send(pages, LAPTOP, f"{LAPTOP}/inspect", note="typed already")

    assert answer.status == 400
    assert "Tick every sign you see" in answer.one("p", role="alert").text
    assert answer.one("textarea", name="note").text == "typed already"
    assert await rows(services, *KEPT) == []


async def test_a_viewer_neither_records_nor_asks(
    pages: Pages, services: Services
) -> None:
    await be(pages, "viewer", "vic")
    shown = await pages.get(LAPTOP)
    forms = shown.all("form", method="post")
    assert [node.attributes["action"] for node in forms] == ["/sign-out"]

    for action in ("inspect", "ask"):
        answer = await send(pages, LAPTOP, f"{LAPTOP}/{action}", none_seen="yes")
        assert answer.status == 403
    assert await rows(services, *KEPT) == []
    assert await rows(services, tables.inspection_links.c.laptop_id) == []


async def test_forms_of_the_laptop_page_need_their_token(pages: Pages) -> None:
    for action in ("inspect", "ask"):
        answer = await pages.post(f"{LAPTOP}/{action}", {"none_seen": "yes"})
        assert answer.status == 403


async def test_the_link_is_shown_once_and_kept_by_its_digest_only(
    pages: Pages, services: Services
) -> None:
    shown = await send(pages, LAPTOP, f"{LAPTOP}/ask")
    token = link_in(shown).rsplit("/", 1)[1]

    assert shown.headers["Cache-Control"] == "no-store"
    assert token not in (await pages.get(LAPTOP)).body
    ((digest,),) = await rows(services, tables.inspection_links.c.digest)
    assert token.encode() not in digest
    assert "mira Holder asked" in (await pages.get(LAPTOP)).texts


async def test_a_holder_answers_without_an_account(
    pages: Pages, services: Services, link: str
) -> None:
    form = await pages.get(link)
    answer = await send(pages, link, link, sign_touchpad="yes", note="since Monday")
    seen = await pages.get(answer.headers["Location"])

    assert form.status == 200
    assert "tag A-4001" in form.texts
    assert [node.attributes["name"] for node in form.all("input", type="checkbox")] == [
        *(f"sign_{sign}" for sign in SIGNS), "none_seen",
    ]  # fmt: skip
    assert answer.status == 303
    assert seen.one("h1").text == "Stop using the laptop now"
    assert all(caution in seen.texts for caution in STOP_USE_CAUTIONS)
    assert await rows(services, *KEPT) == [
        ("the laptop's holder", ["touchpad"], "since Monday")
    ]
    assert ("swelling-reported", "stop-use", 1) in await rows(services, *KINDS)


async def test_an_answer_without_a_sign_proves_nothing_and_says_so(
    pages: Pages, link: str
) -> None:
    answer = await send(pages, link, link, none_seen="yes")

    assert NOT_A_PROOF in (await pages.get(answer.headers["Location"])).texts


async def test_looking_at_a_link_does_not_spend_it_and_answering_does(
    pages: Pages, services: Services, link: str
) -> None:
    for _ in range(3):
        assert (await pages.get(link)).status == 200
    form = await pages.get(link)
    fields = {"form_token": form.field("form_token"), "none_seen": "yes"}
    assert (await pages.post(link, fields)).status == 303

    for late in (await pages.get(link), await pages.post(link, fields)):
        assert late.status == 410
        assert late.one("h1").text == "Thank you, this was answered"
        assert not late.all("form")
    assert len(await rows(services, *KEPT)) == 1


async def test_an_expired_link_says_so_kindly(
    pages: Pages, clock: StandingClock, link: str
) -> None:
    clock.move(timedelta(days=8))

    page = await pages.get(link)

    assert page.status == 410
    assert page.one("h1").text == "This link has expired"
    assert "switch it off" in page.texts


async def test_a_broken_link_tells_nothing_of_any_laptop(pages: Pages) -> None:
    pages.client.session.cookie_jar.clear()

    page = await pages.get("/inspect/fwi_nothing")

    assert page.status == 404
    assert page.one("h1").text == "This link does not work"


async def test_the_link_opens_nothing_else(pages: Pages, link: str) -> None:
    token = (await pages.get(link)).field("form_token")
    for path in ("/", LAPTOP, "/alerts/1"):
        assert (await pages.get(path)).url.path == "/sign-in"
    for path in (f"{LAPTOP}/inspect", f"{LAPTOP}/ask", "/alerts/1/acknowledge"):
        answer = await pages.post(path, {"form_token": token, "none_seen": "yes"})
        assert answer.status == 403
    answer = await pages.post(
        f"/laptops/{STOP_USE_LAPTOP}/inspect",
        {"form_token": token, "none_seen": "yes", "laptop_id": "3"},
    )
    assert answer.status == 403


async def test_the_address_of_a_link_is_told_to_nobody(pages: Pages, link: str) -> None:
    for page in (await pages.get(link), await pages.get("/inspect/fwi_no")):
        assert page.headers["Referrer-Policy"] == "no-referrer"
        assert page.headers["Cache-Control"] == "no-store"
        assert not page.all("script")


async def test_a_browser_that_hides_the_origin_may_answer_a_link_only(
    pages: Pages, link: str
) -> None:
    """Without a referrer browsers send the origin "null" (Fetch, request origin)."""
    token = (await pages.get(link)).field("form_token")
    fields = {"form_token": token, "none_seen": "yes"}

    refused = await pages.post(link, fields, {"Origin": "https://elsewhere.example"})
    crossed = await pages.post(
        link, fields, {"Origin": "null", "Sec-Fetch-Site": "cross-site"}
    )
    taken = await pages.post(
        link, fields, {"Origin": "null", "Sec-Fetch-Site": "same-origin"}
    )

    assert (refused.status, crossed.status, taken.status) == (403, 403, 303)


async def test_another_links_form_token_does_not_fit(
    pages: Pages, services: Services, link: str
) -> None:
    token = (await pages.get(link)).field("form_token")
    await be(pages, "technician", "kim")
    other = link_in(await send(pages, LAPTOP, f"{LAPTOP}/ask"))
    pages.client.session.cookie_jar.clear()

    answer = await pages.post(other, {"form_token": token, "none_seen": "yes"})

    assert answer.status == 403
    assert await rows(services, *KEPT) == []


async def test_links_are_tried_slowly(
    pages: Pages, clock: StandingClock, link: str
) -> None:
    for _ in range(INSPECT_BURST):
        await pages.get("/inspect/fwi_guess")

    refused = await pages.get(link)
    clock.move(timedelta(seconds=INSPECT_EVERY_S))
    later = await pages.get(link)

    assert (refused.status, later.status) == (429, 200)
    assert "Retry-After" in refused.headers


async def test_what_a_holder_writes_is_only_ever_text(pages: Pages, link: str) -> None:
    await send(pages, link, link, none_seen="yes", note=HOSTILE)
    await be(pages, "technician", "kim")

    page = await pages.get(LAPTOP)

    assert HOSTILE in page.texts
    assert all(one.attributes.get("src") for one in page.all("script"))
    assert "2331" not in page.body
