"""Administrators say on a page who is told of alerts."""

from collections.abc import AsyncIterator
from datetime import timedelta

import pytest
from sqlalchemy import delete

from fadewatch_collector.store.intake import add_reports
from fadewatch_collector.store.tables import filing_queue
from fadewatch_collector.usecases.notification_routes import list_routes
from fadewatch_collector.usecases.services import Services
from tests.fleet import new_laptop
from tests.integration.pages_service import Page, Pages, running_pages
from tests.integration.web_acts import be, send
from tests.reports import START, make_report, received

TOLD = "/settings/told"
ALL = {f"urgency-{one}": "yes" for one in ("stop-use", "act", "plan", "note")}


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    async with running_pages(services) as pages:
        await pages.sign_in("administrator")
        yield pages


async def add(pages: Pages, **fields: str) -> Page:
    wanted = {
        "label": "the desk",
        "channel": "mail",
        "target": "desk@example.org",
        "site": "",
        "from": "",
        "until": "",
        **ALL,
        **fields,
    }
    return await send(pages, TOLD, f"{TOLD}/add", **wanted)


async def test_a_mail_route_is_made_shown_and_ended(
    pages: Pages, services: Services
) -> None:
    answer = await add(
        pages, site="Quay", **{"from": "20:00", "until": "06:30", "urgency-note": ""}
    )
    assert answer.headers["Location"] == f"{TOLD}?done=route-added"
    (route,) = await list_routes(services)
    assert route.urgencies == ("stop-use", "act", "plan")
    assert route.sites == ("Quay",)

    shown = await pages.get(TOLD)
    for text in ("the desk", "desk@example.org", "20:00 to 06:30", "Quay"):
        assert text in shown.texts
    await send(pages, TOLD, f"{TOLD}/{route.id}/end")
    assert await list_routes(services) == []


async def test_a_webhook_shows_its_secret_once(
    pages: Pages, services: Services
) -> None:
    answer = await add(
        pages, channel="webhook", target="https://tickets.example/fadewatch"
    )
    (route,) = await list_routes(services)

    assert route.secret is not None
    assert route.secret in answer.body
    assert route.secret not in (await pages.get(TOLD)).body


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"target": "desk"}, "mail address"),
        ({"channel": "pigeon"}, "choose mail or webhook"),
        ({"channel": "webhook", "target": "http://elsewhere.example"}, "https"),
        ({"from": "20:00"}, "quiet hours begin and end"),
        ({"from": "24:00", "until": "06:00"}, "quiet hours begin and end"),
        (dict.fromkeys(ALL, ""), "at least one urgency"),
        ({"label": " "}, "label"),
    ],
)
async def test_what_is_wrong_is_said_and_nothing_typed_is_lost(
    pages: Pages, services: Services, fields: dict[str, str], says: str
) -> None:
    answer = await add(pages, **fields)

    assert answer.status == 400
    assert says in answer.texts.lower()
    assert await list_routes(services) == []
    assert answer.one("input", name="target").attributes["value"] == fields.get(
        "target", "desk@example.org"
    )


async def test_a_test_that_does_not_get_through_says_why(
    pages: Pages, services: Services
) -> None:
    # Nothing listens on the discard port here.
    await add(pages, channel="webhook", target="http://127.0.0.1:9/hook")
    (route,) = await list_routes(services)

    answer = await send(pages, TOLD, f"{TOLD}/{route.id}/test")

    assert answer.status >= 400
    assert answer.one("p", role="alert").text.strip()


async def test_nobody_but_an_administrator_sees_or_changes_it(
    pages: Pages, services: Services
) -> None:
    token = (await pages.get("/about")).field("form_token")
    await be(pages, "technician", "tess")

    assert (await pages.get(TOLD)).status == 403
    for path in ("add", "1/end", "1/test"):
        answer = await pages.post(f"{TOLD}/{path}", {"form_token": token})
        assert answer.status == 403
    assert await list_routes(services) == []


async def test_about_tells_versions_queues_and_late_rounds(
    pages: Pages, services: Services
) -> None:
    page = await pages.get("/about")

    kind = "SQLite 3." if services.store.is_sqlite else "PostgreSQL"
    assert kind in page.texts
    assert "Every pack is assessed" in page.texts
    assert "not yet late" in page.texts


async def add_waiting(services: Services, laptop_id: int, minutes: int) -> str:
    """Store a report received so long ago, which nobody files; returns its id."""
    one = received(make_report(START + timedelta(hours=minutes)))
    row = {
        "report_id": one.report_id,
        "laptop_id": laptop_id,
        "measured_at": one.measured_at,
        "received_at": services.clock() - timedelta(minutes=minutes),
        "body": one.body,
    }
    async with services.store.writing() as connection:
        await add_reports(connection, [row])
    return one.report_id


async def test_about_tells_since_when_reports_wait_and_that_it_is_long(
    pages: Pages, services: Services
) -> None:
    laptop_id = await new_laptop(services)
    old = await add_waiting(services, laptop_id, 20)
    await add_waiting(services, laptop_id, 1)

    page = await pages.get("/about")

    assert "2, the first since" in page.texts
    assert "nothing is lost; the service's log says why" in page.texts

    async with services.store.writing() as connection:
        filed = delete(filing_queue).where(filing_queue.c.report_id == old)
        await connection.execute(filed)

    page = await pages.get("/about")

    assert "1, the first since" in page.texts
    assert "nothing is lost" not in page.texts
