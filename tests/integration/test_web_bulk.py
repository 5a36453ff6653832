"""Several alerts are acknowledged, planned or handed over from the list at once."""

import csv
import io
from collections.abc import AsyncIterator

import pytest
from sqlalchemy import select

from fadewatch_collector.store.tables import alerts, audit
from fadewatch_collector.usecases.accounts import add_operator
from fadewatch_collector.usecases.alerts_csv import ALERTS_CSV_COLUMNS
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_fleet import fill
from tests.integration.pages_service import PASSWORD, Page, Pages, running_pages
from tests.integration.web_acts import be

SEVERAL = "/alerts/several"


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    await fill(services.store, services.clock(), laptops=24)
    async with running_pages(services) as pages:
        await pages.sign_in("technician")
        yield pages


def ticks(page: Page) -> dict[str, str]:
    return {
        name: node.attributes["value"] or ""
        for node in page.all("input", type="checkbox")
        if (name := node.attributes["name"] or "").startswith("alert-")
    }


async def send(pages: Pages, chosen: dict[str, str], **fields: str) -> Page:
    token = (await pages.get("/")).field("form_token")
    return await pages.post(SEVERAL, {"form_token": token, **chosen, **fields})


async def states(services: Services, chosen: dict[str, str]) -> set[str]:
    numbers = [int(name.removeprefix("alert-")) for name in chosen]
    async with services.store.reading() as connection:
        query = select(alerts.c.state).where(alerts.c.id.in_(numbers))
        return set(await connection.scalars(query))


async def test_all_that_are_ticked_are_acknowledged_each_with_its_trail(
    pages: Pages, services: Services
) -> None:
    chosen = dict(list(ticks(await pages.get("/")).items())[:3])

    answer = await send(pages, chosen, do="acknowledge", site="Workshop")

    assert answer.headers["Location"] == "/?site=Workshop&done=several-acknowledged"
    assert await states(services, chosen) == {"acknowledged"}
    subjects = [name.replace("-", ":") for name in chosen]
    async with services.store.reading() as connection:
        query = select(audit.c.subject).where(audit.c.action == "acknowledged")
        assert sorted(await connection.scalars(query)) == sorted(subjects)


async def test_a_day_and_an_operator_are_set_for_all(
    pages: Pages, services: Services
) -> None:
    await add_operator(services, "ines", "technician", PASSWORD)
    chosen = dict(list(ticks(await pages.get("/")).items())[:2])

    await send(pages, chosen, do="plan", on="2026-04-01")
    assert await states(services, chosen) == {"planned"}
    newer = {name: ticks(await pages.get("/"))[name] for name in chosen}
    await send(pages, newer, do="hand-over", to="ines")

    page = await pages.get("/?state=planned")
    assert page.texts.count("planned for 2026-04-01") >= 2
    assert page.texts.count("Withines") == 2


async def test_one_that_somebody_changed_meanwhile_stops_no_other(
    pages: Pages, services: Services
) -> None:
    chosen = dict(list(ticks(await pages.get("/")).items())[:2])
    stale, other = chosen
    await send(pages, {stale: chosen[stale]}, do="plan", on="2026-04-01")

    answer = await send(pages, chosen, do="acknowledge")

    number = stale.removeprefix("alert-")
    assert answer.status == 409
    assert f"1 done, 1 not: alert {number}: " in answer.texts
    assert await states(services, {stale: ""}) == {"planned"}
    assert await states(services, {other: ""}) == {"acknowledged"}


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"do": "acknowledge"}, "choose at least one alert"),
        ({"do": "plan", "alert-1": "1", "on": "soon"}, "choose a day"),
        ({"do": "plan", "alert-1": "1", "on": "2020-01-01"}, "is past"),
        ({"do": "hand-over", "alert-1": "1", "to": "Nobody"}, "operator"),
        ({"do": "erase", "alert-1": "1"}, "press one of the buttons"),
        ({"do": "acknowledge", "alert-1": "x"}, "without its version"),
    ],
)
async def test_what_makes_no_sense_changes_nothing_and_says_why(
    pages: Pages, services: Services, fields: dict[str, str], says: str
) -> None:
    before = await states(services, {"alert-1": ""})

    answer = await send(pages, {}, **fields)

    assert answer.status in {400, 404}
    assert says in answer.texts.lower()
    assert await states(services, {"alert-1": ""}) == before


async def test_a_viewer_can_neither_tick_nor_send(
    pages: Pages, services: Services
) -> None:
    chosen = ticks(await pages.get("/"))
    await be(pages, "viewer", "vic")

    assert not ticks(await pages.get("/"))
    assert (await send(pages, chosen, do="acknowledge")).status == 403
    assert await states(services, chosen) != {"acknowledged"}


async def test_the_csv_holds_exactly_what_the_list_shows(pages: Pages) -> None:
    shown = await pages.get("/?urgency=act")
    answer = await pages.ask("/exports/alerts.csv?urgency=act")

    rows = list(csv.DictReader(io.StringIO(answer.body, newline="")))
    numbers = [
        (node.attributes["id"] or "").removeprefix("alert-")
        for node in shown.all("li")
        if (node.attributes.get("class") or "").startswith("alert ")
    ]
    assert tuple(rows[0]) == ALERTS_CSV_COLUMNS
    assert [row["alert"] for row in rows] == numbers
    assert {row["urgency"] for row in rows} == {"act"}
    assert all(row["reasons"] and row["next_step"] for row in rows)
