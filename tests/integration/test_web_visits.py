"""The pages of visits: the list, the sheets, and the forms."""

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta

import pytest

from fadewatch_collector.rules.cautions import (
    BEFORE_OPENING_CAUTIONS,
    ON_A_ROUND_CAUTION,
    STOP_USE_CAUTIONS,
)
from fadewatch_collector.store import tables
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visit_lists import list_visits
from tests.fakes.clock import StandingClock
from tests.fixtures.shown_fleet import SITES, STOP_USE_LAPTOP, fill
from tests.integration.pages_service import Page, Pages, running_pages
from tests.integration.web_acts import HOSTILE, be, send

WORN = 10
SITE = SITES[WORN % 3]
"""The worn laptop's site."""


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    await fill(services.store, services.clock(), laptops=24)
    async with running_pages(services) as running:
        await running.sign_in()
        yield running


def day(services: Services, days: int = 1) -> str:
    return (services.clock().date() + timedelta(days=days)).isoformat()


def sheet_path(number: int = WORN) -> str:
    return f"/laptops/{number}/sheet"


def ticked(page: Page) -> int:
    return page.body.count('class="box"')


async def plan(pages: Pages, **fields: str) -> Page:
    action = f"/laptops/{WORN}/plan-visit"
    return await send(pages, sheet_path(), action, on=day(pages.services), **fields)


async def test_the_list_groups_by_site_and_begins_with_what_must_stop(
    pages: Pages,
) -> None:
    page = await pages.get("/visits?within=90")
    heads = [" ".join(node.text.split()) for node in page.all("h2")]

    assert heads[0] == "To pull from use now"
    assert set(SITES) <= set(heads)
    assert heads[1:] == [*sorted(SITES), "Without a site"][: len(heads) - 1]
    for caution in STOP_USE_CAUTIONS:
        assert caution in page.texts


async def test_the_filter_stands_in_the_address_and_reaches_the_sheets(
    pages: Pages,
) -> None:
    page = await pages.get(f"/visits?site={SITE.replace(' ', '+')}&within=90")
    heads = [" ".join(node.text.split()) for node in page.all("h2")]
    links = [node.attributes["href"] for node in page.all("a", class_="button")]

    assert set(heads) - {"To pull from use now"} == {SITE}
    assert links[0] == f"/visits/sheets?site={SITE.replace(' ', '+')}&within=90"
    sheets = await pages.get(links[0] or "")
    assert len(sheets.all("article")) == len(page.all("h3")) > 1


@pytest.mark.parametrize(
    "query", ["state=lost", "within=soon", "within=-1", "after=zzz", "within=99999999"]
)
async def test_an_address_that_asks_for_nothing_there_is_is_refused(
    pages: Pages, query: str
) -> None:
    assert (await pages.get(f"/visits?{query}")).status == 400


async def test_a_sheet_has_its_cautions_first(pages: Pages) -> None:
    worn = (await pages.get(sheet_path())).one("article").text
    stopped = (await pages.get(sheet_path(STOP_USE_LAPTOP))).one("article").text

    assert all(caution in worn for caution in BEFORE_OPENING_CAUTIONS)
    assert worn.index(BEFORE_OPENING_CAUTIONS[0]) < worn.index("Why")
    assert all(caution in stopped for caution in STOP_USE_CAUTIONS)
    assert ON_A_ROUND_CAUTION in stopped
    assert stopped.index(ON_A_ROUND_CAUTION) < stopped.index("Why")
    assert "hinge screws" not in stopped


async def test_a_drawing_of_the_code_needs_no_style(pages: Pages) -> None:
    page = await pages.get("/visits/sheets?within=365")

    codes = page.all("svg", class_="scan")
    assert len(codes) == len(page.all("article")) > 5
    assert not any("style" in node.attributes for node in page.nodes)
    assert page.all("style") == []


async def test_a_long_pile_of_sheets_is_printed_in_parts(
    services: Services,
) -> None:
    await fill(services.store, services.clock(), laptops=64)
    async with services.store.writing() as connection:
        await connection.execute(tables.assessments.update().values(band="replace"))
    async with running_pages(services) as pages:
        await pages.sign_in()
        parts = [await pages.get("/visits/sheets")]
        while links := parts[-1].all("a", rel="next"):
            parts.append(await pages.get(links[0].attributes["href"] or ""))

    assert [len(part.all("article")) for part in parts] == [20, 20, 20, 3]
    assert "There are more than 20" in parts[0].texts
    names = [node.text for part in parts for node in part.all("article")]
    assert len(set(names)) == len(names) == 63


async def test_the_code_leads_where_people_reach_the_collector(
    services: Services,
) -> None:
    await fill(services.store, services.clock(), laptops=24)
    settings = services.settings.model_copy(
        update={"public_url": "http://packs.example/fw/"}
    )
    async with running_pages(services) as local:
        await local.sign_in()
        told = (await local.get(sheet_path())).texts
    async with running_pages(replace(services, settings=settings)) as pages:
        await be(pages, "viewer", "vera")
        page = await pages.get(sheet_path())

    assert "http://packs.example/fw/laptops/10" in page.texts.replace(" ", "")
    assert "FADEWATCH_PUBLIC_URL" not in page.texts
    assert "FADEWATCH_PUBLIC_URL" in told


async def test_a_visit_is_planned_moved_and_marked_done(
    pages: Pages, services: Services
) -> None:
    first = await plan(pages, to="mira", note="ring first", **{"with-alerts": "yes"})
    shown = await pages.get(first.headers["Location"])
    visit = shown.field("visit")
    moved = await send(
        pages, sheet_path(), f"/laptops/{WORN}/plan-visit",
        visit=visit, on=day(services, 8), to="", note="",
    )  # fmt: skip
    listed = await pages.get("/visits?state=planned")
    done = await send(
        pages, sheet_path(), f"/laptops/{WORN}/finish-visit",
        visit=visit, found="all well", **{"work-cleaned": "yes", "work-pack": "yes"},
    )  # fmt: skip
    over = await pages.get("/visits?state=done")
    laptop = await pages.get(f"/laptops/{WORN}")

    assert "The visit is planned." in shown.texts
    assert "ring first" in shown.one("article").text
    assert moved.status == done.status == 303
    assert day(services, 8) in listed.texts
    assert "pack changed, fan and dust cleaned: all well" in over.texts
    assert "Visit moved, for " + day(services, 8) in laptop.texts
    assert "Visit done: pack changed, fan and dust cleaned" in laptop.texts


async def test_the_laptops_page_tells_of_its_visit_and_when_its_day_is_past(
    pages: Pages, clock: StandingClock
) -> None:
    before = (await pages.get(f"/laptops/{WORN}")).texts
    await plan(pages)
    planned = (await pages.get(f"/laptops/{WORN}")).texts
    clock.move(timedelta(hours=11))
    await pages.get("/visits")
    clock.move(timedelta(days=2))
    session = await be(pages, "technician", "later")
    past = (await pages.get(f"/laptops/{WORN}")).texts
    listed = (await pages.get("/visits")).texts

    assert "Visit sheet" in before
    assert "A visit is planned for" in planned
    assert "that day is past" not in planned
    assert session.name == "later"
    assert "that day is past" in past
    assert "overdue planned for" in listed


async def test_a_form_that_is_refused_says_why_and_keeps_what_was_typed(
    pages: Pages,
) -> None:
    page = await send(
        pages, sheet_path(), f"/laptops/{WORN}/finish-visit", found=HOSTILE
    )
    past = await send(
        pages, sheet_path(), f"/laptops/{WORN}/plan-visit", on="2020-01-01"
    )

    assert page.status == 400
    assert "ay what was done" in page.one("p", role="alert").text
    assert HOSTILE in page.one("textarea").text
    assert HOSTILE not in page.body
    assert "is past" in past.one("p", role="alert").text


async def test_somebody_who_was_second_is_told_who_was_first(pages: Pages) -> None:
    await plan(pages)
    stale = await pages.get(sheet_path())
    form = {
        "form_token": stale.field("form_token"),
        "visit": stale.field("visit"),
        "version": stale.field("version"),
        "because": "retired",
    }
    await pages.post(f"/laptops/{WORN}/call-off-visit", form)

    again = await pages.post(f"/laptops/{WORN}/call-off-visit", form)

    assert again.status == 409
    assert "called off by mira" in again.one("p", role="alert").text


async def test_a_round_is_planned_for_a_site_and_refused_when_nothing_waits(
    pages: Pages, services: Services
) -> None:
    fields = {"site": SITE, "within": "90", "on": day(services)}
    made = await send(pages, "/visits?within=90", "/visits/round", **fields)
    shown = await pages.get(made.headers["Location"])
    again = await send(pages, "/visits?within=90", "/visits/round", **fields)

    planned = await list_visits(services, states=["planned"])
    assert made.status == 303
    assert "The round is planned." in shown.texts
    assert {visit.site for visit in planned} == {SITE}
    assert len(planned) > 1
    assert again.status == 400
    assert "waits for a round" in again.texts


async def test_a_viewer_may_look_and_print_but_change_nothing(pages: Pages) -> None:
    await be(pages, "viewer", "vera")
    listed, page = await pages.get("/visits"), await pages.get(sheet_path())
    refused = [
        await pages.post(path, {"form_token": listed.field("form_token")})
        for path in (
            "/visits/round",
            f"/laptops/{WORN}/plan-visit",
            f"/laptops/{WORN}/finish-visit",
            f"/laptops/{WORN}/call-off-visit",
        )
    ]

    assert "Plan a round" not in listed.texts
    assert "Mark it done" not in page.texts
    assert ticked(page) > 3
    assert [one.status for one in refused] == [403] * 4


async def test_the_csv_is_downloaded_by_everyone_who_may_look(pages: Pages) -> None:
    answer = await pages.get("/exports/visits.csv?within=0")

    assert answer.status == 200
    assert "fadewatch-visits-" in answer.headers["Content-Disposition"]
    assert answer.body.startswith("state,stop_use,site,")
    assert (await pages.get("/exports/visits.csv?within=x")).status == 400


async def test_a_sheet_of_no_laptop_is_not_found(pages: Pages) -> None:
    assert (await pages.get(sheet_path(999))).status == 404
