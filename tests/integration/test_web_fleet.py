"""The fleet page, the packs of a type behind it, its CSV files and its API."""

import csv
from collections.abc import AsyncIterator
from datetime import timedelta
from io import StringIO

import pytest
from sqlalchemy import event, update

from fadewatch_collector.store import tables
from fadewatch_collector.store.fleet_view import keep_figures, kept_figures
from fadewatch_collector.usecases.fleet_csv import FLEET_FILE_COLUMNS, FLEET_FILES
from fadewatch_collector.usecases.fleet_figures import HELD, TYPES, sum_up_fleet
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.fixtures.shown_fleet import fill
from tests.fleet import SIGNED_IN, empty_out
from tests.integration.api_service import ApiService, running_api
from tests.integration.pages_service import Pages, running_pages

FAST = {
    "key": "Veldan|VC-52|mWh|52000|",
    "name": "Veldan VC-52, 52.0 Wh",
    "made": None,
    "packs": 8,
    "threshold": 0.3,
    "verdict": "fast",
    "certainty": "sure",
    "comparisons": 6,
    "fade_packs": 8,
    "other_fade_packs": 15,
    "fade_per_month": 0.0131,
    "other_fade_per_month": 0.0062,
    "fade_ratio": 2.1,
    "fade_ratio_low": 1.7,
    "fade_ratio_high": 2.6,
    "same_age": True,
    "fade_p": 0.004,
}


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    """Pages with the invented fleet, and a viewer signed in."""
    async with running_pages(services) as pages:
        await pages.sign_in("viewer")
        yield pages


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


async def with_fast_type(services: Services) -> None:
    """Keep the figures of the fleet with a type that fades fast."""
    await fill(services.store, services.clock(), laptops=24)
    await sum_up_fleet(services)
    async with services.store.writing() as connection:
        kept = await kept_figures(connection, [TYPES])
        made_at, body = kept[TYPES]
        await keep_figures(connection, TYPES, made_at, [FAST, *body])


async def test_an_empty_fleet_says_what_will_be_here(pages: Pages) -> None:
    page = await pages.get("/fleet")

    assert page.status == 200
    assert "No pack has been reported yet" in page.texts


async def test_the_page_counts_the_packs_by_band(
    pages: Pages, services: Services
) -> None:
    await fill(services.store, services.clock(), laptops=24)

    page = await pages.get("/fleet")

    # 24 laptops; one without a pack, one with two.
    figures = [node.text for node in page.all("dd", class_="big")]
    assert figures[0] == "24"
    for head in ("Types that fade unusually fast", "Where the packs stand"):
        assert head in page.texts
    assert len(page.all("rect")) > 10
    assert not [node for node in page.nodes if "style" in node.attributes]


async def test_a_fast_type_stands_out_and_leads_to_its_packs(
    pages: Pages, services: Services
) -> None:
    await with_fast_type(services)

    page = await pages.get("/fleet")
    link = next(
        node for node in page.all("a") if node.text == "Its 8 packs and their laptops"
    )
    packs = await pages.get(str(link.attributes["href"]))

    assert "2.1 times as much [1.7 to 2.6]" in page.texts
    assert packs.status == 200
    assert "Fades unusually fast: sure." in packs.texts
    rows = [node for node in packs.all("a") if "/laptops/" in str(node.attributes)]
    assert len(rows) > 3
    wears = [
        float(node.text.split(" ")[0])
        for node in packs.all("span", class_="figure")
        if node.text != "unknown"
    ]
    assert wears == sorted(wears, reverse=True)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/fleet/packs", 400),
        ("/fleet/packs?type=nothing", 400),
        ("/fleet/packs?type=No|Such|mWh|1|", 404),
        ("/fleet/packs?type=Veldan%7CVC-52%7CmWh%7C52000%7C&made=2024", 400),
    ],
)
async def test_a_type_that_is_none_is_told(
    pages: Pages, services: Services, path: str, status: int
) -> None:
    await fill(services.store, services.clock(), laptops=24)

    assert (await pages.get(path)).status == status


async def test_the_number_of_queries_does_not_depend_on_the_fleet(
    pages: Pages, services: Services
) -> None:
    counts = []
    for laptops in (24, 64):
        await empty_out(services, keep=SIGNED_IN)
        await fill(services.store, services.clock(), laptops=laptops)
        await sum_up_fleet(services)
        ran: list[str] = []

        def note(*told: object, ran: list[str] = ran) -> None:
            ran.append(str(told[2]))

        engine = services.store.engine.sync_engine
        event.listen(engine, "before_cursor_execute", note)
        await pages.get("/fleet")
        event.remove(engine, "before_cursor_execute", note)
        counts.append(len(ran))

    assert counts[0] == counts[1]


async def test_a_small_fleet_is_summed_up_anew_when_its_figures_are_old(
    pages: Pages, services: Services, clock: StandingClock
) -> None:
    await fill(services.store, services.clock(), laptops=24)
    before = await pages.get("/fleet")
    async with services.store.writing() as connection:
        await connection.execute(update(tables.assessments).values(band="replace"))
    soon = await pages.get("/fleet")
    # Somebody reads on meanwhile, so the session does not end for idleness.
    clock.move(timedelta(minutes=40))
    await pages.get("/fleet")
    clock.move(timedelta(minutes=20))
    later = await pages.get("/fleet")

    past = [page.all("dd", class_="big")[1].text for page in (before, soon, later)]
    assert past[0] == past[1] != past[2] == "24"


@pytest.mark.parametrize("name", FLEET_FILES)
async def test_each_file_has_its_columns_and_whole_rows(
    pages: Pages, services: Services, name: str
) -> None:
    await with_fast_type(services)

    page = await pages.get(f"/exports/{name}.csv")

    lines = list(csv.reader(StringIO(page.body)))
    columns = next(
        columns for file, columns in FLEET_FILE_COLUMNS.items() if file == name
    )
    assert tuple(lines[0]) == columns
    assert {len(line) for line in lines} == {len(columns)}
    assert f"fadewatch-{name}-" in page.headers["Content-Disposition"]
    if name != "fleet-months":
        assert len(lines) > 1


async def test_shares_of_the_file_add_up(pages: Pages, services: Services) -> None:
    await fill(services.store, services.clock(), laptops=24)
    page = await pages.get("/exports/fleet-shares.csv")

    rows = list(csv.DictReader(StringIO(page.body)))
    for by in ("all", "site", "age", "type"):
        assert sum(int(row["packs"]) for row in rows if row["by"] == by) == 24, by


async def test_the_api_tells_the_same(api: ApiService, services: Services) -> None:
    await with_fast_type(services)
    token = await api.api_token("viewer")

    shares = await api.ask("GET", "/fleet/shares", token)
    types = await api.ask("GET", "/fleet/types", token)
    held = await api.ask("GET", "/fleet/held-forecasts", token)
    quarter = await api.ask("GET", "/fleet/quarter", token)
    months = await api.ask("GET", "/fleet/months", token)
    file = await api.ask("GET", "/exports/fleet-types.csv", token)

    assert [a.status for a in (shares, types, held, quarter, months, file)] == [200] * 6
    assert shares.json["rows"][0]["packs"] == 24
    assert types.json["rows"][0]["fade_percent_per_month"] == 1.31
    assert "2.1 times as much" in types.json["rows"][0]["sentences"][0]
    assert {row["threshold"] for row in held.json["rows"]} == {"plan", "replace"}
    assert sum(r["packs"] for r in quarter.json["rows"] if r["by"] == "site") == 24


async def test_forecasts_that_held_are_told_in_plain_words(
    pages: Pages, services: Services
) -> None:
    await fill(services.store, services.clock(), laptops=24)
    await sum_up_fleet(services)
    async with services.store.writing() as connection:
        made_at, body = (await kept_figures(connection, [HELD]))[HELD]
        body[0] |= {
            "forecasts": 100, "packs": 20, "open": 30, "lost": 5,
            "before": 6, "within": 50, "after": 5, "waiting": 4,
            "middle_due": 70, "middle_crossed": 20, "latest_due": 65,
        }  # fmt: skip
        await keep_figures(connection, HELD, made_at, body)

    said = (await pages.get("/fleet")).texts

    assert "The latest day of 65 forecasts has come: 50 of them (77 %) held" in said
    assert "6 packs passed before the earliest day, 5 after the latest" in said
    assert "packs last longer than the middle day says" in said
    assert "30 of all 100 forecasts are still open, and 5 cannot be judged" in said
