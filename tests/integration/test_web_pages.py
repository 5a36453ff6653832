"""The alert list, the laptop list and a laptop, as a person gets them."""

import csv
import re
from collections.abc import AsyncIterator
from datetime import timedelta
from typing import Any

import pytest
from aiohttp import ClientPayloadError
from sqlalchemy import insert, update

from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.store import tables
from fadewatch_collector.usecases.fleet_figures import sum_up_fleet
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.headers import CONTENT_SECURITY_POLICY
from fadewatch_collector.web.routes import PAGE_ROUTES
from tests.fakes.clock import StandingClock
from tests.fixtures.shown_charging import fill_charging
from tests.fixtures.shown_fleet import (
    BARE_LAPTOP,
    SILENT_LAPTOP,
    STOP_USE_LAPTOP,
    SWAPPED_LAPTOP,
    TWO_PACK_LAPTOP,
    alert_row,
    fill,
)
from tests.fleet import SIGNED_IN, empty_out
from tests.integration.counting import counted
from tests.integration.pages_service import Node, Page, Pages, running_pages


@pytest.fixture
async def empty(services: Services) -> AsyncIterator[Pages]:
    """Pages on a store without a laptop."""
    async with running_pages(services) as pages:
        await pages.sign_in("administrator")
        yield pages


@pytest.fixture
async def pages(empty: Pages, services: Services) -> Pages:
    """Pages on a store with the invented fleet."""
    await fill(services.store, services.clock(), laptops=24)
    return empty


async def add_alerts(services: Services, *rows: dict[str, Any]) -> None:
    async with services.store.writing() as connection:
        await connection.execute(insert(tables.alerts), rows)


def alerts_of(page: Page) -> list[str]:
    """Say urgency and laptop of each alert of the list."""
    return [
        " ".join(node.text.split())
        for node in page.all("li")
        if (node.attributes.get("class") or "").startswith("alert ")
    ]


async def whole_list(pages: Pages, path: str) -> tuple[list[str], int]:
    """Follow the list to its end; return the alerts and the number of pages."""
    found: list[str] = []
    count = 0
    while path:
        page = await pages.get(path)
        found += alerts_of(page)
        count += 1
        links = page.all("a", rel="next")
        path = (links[0].attributes["href"] or "") if links else ""
    return found, count


async def test_an_empty_store_says_which_two_commands_come_next(empty: Pages) -> None:
    for path in ("/", "/laptops"):
        shown = await empty.get(path)

        address = str(empty.client.make_url("/")).rstrip("/")
        assert "fadewatch-collector token new --label" in shown.texts
        assert (
            f"fadewatch-agent install --collector {address} --token-file token.txt "
            "--every 6h" in shown.texts
        )


async def test_the_most_urgent_and_then_the_oldest_come_first(pages: Pages) -> None:
    page = await pages.get("/")

    words = [re.match("Stop use|Act|Plan|Note", text) for text in alerts_of(page)]
    ranks = [("Stop use", "Act", "Plan", "Note").index(w[0]) for w in words if w]
    opened = re.findall(r"Opened(\d{4}-\d\d-\d\d)", " ".join(alerts_of(page)))
    assert len(ranks) == len(words) > 5
    assert ranks == sorted(ranks)
    for rank in set(ranks):
        of_rank = [day for day, r in zip(opened, ranks, strict=True) if r == rank]
        assert of_rank == sorted(of_rank)


async def test_a_stop_use_alert_carries_every_caution(pages: Pages) -> None:
    for path in ("/", f"/laptops/{STOP_USE_LAPTOP}"):
        (alert,) = (t for t in alerts_of(await pages.get(path)) if t.startswith("Stop"))

        assert all(caution in alert for caution in STOP_USE_CAUTIONS)


NARROWED: list[tuple[str, list[str], list[str]]] = [
    ("kind=silent", ["No report"], ["Replace the pack", "Plan a new pack"]),
    ("urgency=act", ["Replace the pack"], ["Plan a new pack", "No report"]),
    ("site=Workshop", ["Workshop"], ["Old Mill", "Harbour House"]),
    ("state=ended", ["another pack is in its place"], ["Next:"]),
    ("state=planned", ["planned for"], ["Stateopen"]),
    ("kind=silent&urgency=act", [], ["Opened"]),
]


async def test_the_address_narrows_the_list(pages: Pages) -> None:
    for query, must, must_not in NARROWED:
        shown = " ".join(alerts_of(await pages.get(f"/?{query}")))

        assert all(text in shown for text in must), query
        assert not any(text in shown for text in must_not), query


async def test_ended_alerts_are_not_in_the_list_unless_asked_for(pages: Pages) -> None:
    assert "Stateended" not in " ".join(alerts_of(await pages.get("/")))


NONSENSE = (
    "kind=odd", "urgency=high", "state=gone", "after=xx", "after=%00", "site=%0Aa"
)  # fmt: skip


async def test_an_address_that_means_nothing_is_explained(pages: Pages) -> None:
    for query in NONSENSE:
        answer = await pages.get(f"/?{query}")

        assert answer.status == 400
        assert answer.one("h1").text == "This address cannot be read"


async def test_paging_shows_every_alert_once(
    pages: Pages, services: Services, clock: StandingClock
) -> None:
    same_moment = clock() - timedelta(days=1)
    await add_alerts(
        services,
        *(
            alert_row(
                "silent", "note", 1, None, same_moment, f"Number {n}.", "Look.",
                subject=f"test:{n}", state=("open", "acknowledged", "planned")[n % 3],
            )
            for n in range(130)
        ),
    )  # fmt: skip

    found, count = await whole_list(pages, "/?kind=silent")

    numbers = re.findall(r"Number (\d+)\.", " ".join(found))
    assert sorted(map(int, numbers)) == list(range(130))
    assert count == 3


async def test_paging_stays_steady_while_alerts_come_and_end(
    pages: Pages, services: Services, clock: StandingClock
) -> None:
    def numbered(n: int, urgency: Any, minutes: int) -> dict[str, Any]:
        return alert_row(
            "gauge-doubt", urgency, 1, None, clock() - timedelta(minutes=minutes),
            f"Number {n}.", "Look.", subject=f"test:{n}",
        )  # fmt: skip

    await add_alerts(services, *(numbered(n, "plan", 200 - n) for n in range(70)))
    first = await pages.get("/?kind=gauge-doubt")
    next_path = first.one("a", rel="next").attributes["href"]
    assert next_path is not None
    await add_alerts(services, numbered(900, "act", 1), numbered(901, "plan", 0))
    async with services.store.writing() as connection:
        await connection.execute(
            update(tables.alerts)
            .where(tables.alerts.c.subject.in_(["test:3", "test:49"]))
            .values(state="ended", ended_at=clock())
        )

    second = await pages.get(next_path)

    numbers = re.findall(r"Number (\d+)\.", " ".join(alerts_of(second)))
    assert list(map(int, numbers)) == [*range(50, 70), 901]


async def test_filters_stay_on_from_page_to_page(
    pages: Pages, services: Services, clock: StandingClock
) -> None:
    await add_alerts(
        services,
        *(
            alert_row("silent", "note", 1, None, clock(), "x.", "y.", subject=f"t:{n}")
            for n in range(60)
        ),
    )

    page = await pages.get("/?kind=silent&urgency=note")

    href = page.one("a", rel="next").attributes["href"] or ""
    assert "kind=silent" in href
    assert "urgency=note" in href


async def test_the_count_of_an_urgency_is_what_its_link_shows(pages: Pages) -> None:
    page = await pages.get("/?kind=silent&site=Workshop")
    shown = {
        node.attributes["href"] or "": int(node.text.split()[-1])
        for node in page.all("a")
        if "urgency=" in (node.attributes["href"] or "")
    }

    assert len(shown) == 4
    for link, count in shown.items():
        assert len(alerts_of(await pages.get(link))) == count, link


ASKED = (
    "/", "/?kind=wear-plan&site=Workshop&urgency=plan", "/?state=ended",
    "/laptops", "/laptops?site=Workshop", "/laptops?find=lt", "/find?find=lt",
    f"/laptops/{TWO_PACK_LAPTOP}", "/alerts/1", "/packs/3",
    "/visits", "/visits?within=365&site=Workshop", "/visits?state=open",
    "/visits?state=planned", "/visits?state=done", "/visits?state=called-off",
    "/visits/sheets", "/laptops/7/sheet",
    "/issue", "/issue?verdict=ready", "/issue?verdict=not-ready&site=Workshop",
    "/charging", "/charging?packs=all", "/charging?limit=reported&site=Workshop",
    "/order", "/order/type?pack_type=Veldan%7CVC-52%7CmWh%7C52000%7C", "/order/stock",
    "/fleet", "/fleet/packs?type=Veldan%7CVC-52%7CmWh%7C52000%7C",
    "/removed", "/removed?state=removed", "/places", "/about",
    "/agents", "/agents/set-up", "/account",
    "/settings/policy", "/settings/policy/edit?scope=fleet", "/settings/told",
    "/settings/tokens", "/settings/accounts",
)  # fmt: skip
"""Every page of a signed-in operator, narrowed and not."""

NOT_ASKED = {
    "/laptops/{laptop_id}/forget", "/laptops/{laptop_id}/held.json",
    "/inspect/{token}", "/inspected/{answer}", "/live", "/sign-in", "/sign-in/once",
    "/sign-in/organisation", "/sign-in/organisation/back", "/sign-in/organisation/out",
}  # fmt: skip
"""What looks through every table and column; pages for those who are not signed in;
and the news of alerts, which never ends."""


def test_every_page_is_among_those_whose_questions_are_counted() -> None:
    pages = {route.path for route in PAGE_ROUTES if route.method == "GET"}
    asked = {path.partition("?")[0] for path in ASKED}
    missing = {
        page
        for page in pages
        if not any(re.fullmatch(re.sub(r"{\w+}", r"\\d+", page), one) for one in asked)
    }

    assert {one for one in missing if not one.startswith("/exports/")} == NOT_ASKED


async def test_a_page_asks_as_many_questions_however_much_there_is(
    empty: Pages, services: Services
) -> None:
    few = await questions_with(empty, services, SILENT_LAPTOP)
    await empty_out(services, keep=SIGNED_IN)
    many = await questions_with(empty, services, 64)

    assert few == many
    assert max(many.values()) <= 25


async def questions_with(
    pages: Pages, services: Services, laptops: int
) -> dict[str, int]:
    """Count the questions of every page on a fleet of some laptops."""
    await fill(services.store, services.clock(), laptops=laptops)
    await fill_charging(services)
    # The clock sums the fleet up beforehand; a page does it where that is not done.
    await sum_up_fleet(services)
    return {path: await questions_of(pages, services, path) for path in ASKED}


async def questions_of(pages: Pages, services: Services, path: str) -> int:
    with counted(services) as queries:
        assert (await pages.get(path)).status == 200
    return queries.count


async def test_laptops_are_listed_with_their_most_worn_pack(pages: Pages) -> None:
    page = await pages.get("/laptops")
    rows = {
        row.text.split()[0]: " ".join(row.text.split())
        for row in page.all("tr", role="row")
    }

    assert "no pack" in rows[f"wor-lt-{BARE_LAPTOP:03}"]
    assert re.search(r"33\.\d % plan of 2 packs", rows[f"old-lt-{TWO_PACK_LAPTOP:03}"])
    assert "replace Stop use" in rows[f"har-lt-{STOP_USE_LAPTOP:03}"]


async def test_the_laptop_list_goes_on_and_ends(
    empty: Pages, services: Services
) -> None:
    await fill(services.store, services.clock(), laptops=64)
    first = await empty.get("/laptops")
    second = await empty.get(first.one("a", rel="next").attributes["href"] or "")

    assert len(first.all("tr", role="row")) == 51
    assert len(second.all("tr", role="row")) == 15
    assert not second.all("a", rel="next")


async def test_a_laptop_page_tells_of_packs_parts_and_history(pages: Pages) -> None:
    page = await pages.get(f"/laptops/{SWAPPED_LAPTOP}")

    assert page.one("h1").text == "wor-lt-002"
    assert "1 earlier pack" in page.texts
    assert re.search(r"Swapped: .+ out, .+ in", page.texts)
    assert re.search(
        r"Opened: Replace the pack \(alert \d+\), at 40.3 % wear", page.texts
    )
    assert re.search(
        r"Ended: Replace the pack \(alert \d+\). Reason: another pack is in its place",
        page.texts,
    )
    assert "Memory: DIMM A 8 GiB" in page.texts
    assert "16 GiB in total, 1 slot used, 1 free." in page.texts
    assert "Pell NV 512" in page.texts


async def test_a_plot_names_its_thresholds_and_has_its_figures_below(
    pages: Pages,
) -> None:
    page = await pages.get(f"/laptops/{STOP_USE_LAPTOP}")

    for drawing in page.all("svg", role="img"):
        assert "replace from 40 %" in drawing.text
        assert "plan from 30 %" in drawing.text
        assert "20 %: end of life as published" in drawing.text
    (table,) = (
        table
        for table in page.all("table", class_="figures")
        if "Newest daily value of each month" in table.text
    )
    assert "2026-03-02" in table.text
    assert "Cleaned level" in table.text


async def test_a_plot_marks_a_drop_and_a_table_says_the_same(pages: Pages) -> None:
    page = await pages.get(f"/laptops/{STOP_USE_LAPTOP}")

    for drawing in page.all("svg", role="img"):
        assert "drop 22 %" in drawing.text
    (table,) = (
        table
        for table in page.all("table", class_="figures")
        if "What is marked" in table.text
    )
    assert "Sudden drop: 22.0 % of design capacity." in table.text
    assert "2026-02-11" in table.text


async def test_a_forecast_has_its_dates_in_the_plot_and_in_words(pages: Pages) -> None:
    page = await pages.get(f"/laptops/{TWO_PACK_LAPTOP}")
    wide = page.all("svg", class_="plot plot-wide")

    # Slot BAT1 is sound; BAT0 has passed the plan threshold already.
    assert "2027-01-16 (80 %: 2026-09-18 to 2028-01-31)" in wide[1].text
    assert "2027-01-16" not in wide[0].text
    assert "knee" in wide[0].text
    assert (
        "Wear is expected to pass the replace threshold (40 %) around 2027-10-23; "
        "80 % sure: 2027-04-26 to 2036-03-01 or later." in page.texts
    )


async def test_thresholds_of_the_plot_are_those_in_force(
    pages: Pages, services: Services
) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            insert(tables.policies).values(
                scope="site:Harbour House", changes={"plan_wear": 0.25},
                changed_at=services.clock(), changed_by="mira",
            )
        )  # fmt: skip

    here = await pages.get(f"/laptops/{STOP_USE_LAPTOP}")
    elsewhere = await pages.get(f"/laptops/{SWAPPED_LAPTOP}")

    assert "plan from 25 %" in here.all("svg", role="img")[0].text
    assert "plan from 30 %" in elsewhere.all("svg", role="img")[0].text


async def test_a_laptop_that_never_reported_has_a_page(
    empty: Pages, services: Services
) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            insert(tables.laptops).values(enrolled_at=services.clock())
        )

    page = await empty.get("/laptops/1")

    assert page.status == 200
    assert "Nothing has been reported yet." in page.texts


HOSTILE = "<script>alert(1)</script>'\"&{{777*3}}"


async def test_what_a_pack_says_of_itself_is_only_ever_text(
    pages: Pages, services: Services
) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            update(tables.packs).values(maker=HOSTILE, model=HOSTILE, serial=HOSTILE)
        )
        await connection.execute(
            update(tables.laptops).values(
                hostname=HOSTILE, site=HOSTILE, remarks=[HOSTILE],
                drives=[{"name": HOSTILE, "size_bytes": 1, "kind": "ssd"}],
            )
        )  # fmt: skip
        await connection.execute(
            update(tables.alerts).values(site=HOSTILE, reasons=[HOSTILE])
        )

    for path in ("/", "/laptops", f"/laptops/{SWAPPED_LAPTOP}", f"/?site={'%3Cb%3E'}"):
        page = await pages.get(path)

        assert page.status == 200
        assert all(is_our_own(one) for one in page.all("script"))
        assert page.body.count("<script") == len(page.all("script"))
        assert "<b>" not in page.body
        assert "2331" not in page.body
    assert HOSTILE in (await pages.get("/laptops")).texts


PATHS = (
    "/",
    "/laptops",
    f"/laptops/{SWAPPED_LAPTOP}",
    "/alerts/1",
    "/packs/3",
    "/removed",
    "/charging",
    "/visits",
    "/visits/sheets",
    "/places",
    "/settings/policy",
    "/settings/policy/edit?scope=fleet",
    "/settings/told",
    "/settings/tokens",
    "/settings/accounts",
    "/sign-in/once?token=x",
    "/no",
)


async def test_every_page_has_one_heading_landmarks_and_strict_headers(
    pages: Pages,
) -> None:
    for path in PATHS:
        check_frame(await pages.get(path))


def is_our_own(script: Node) -> bool:
    """Say whether a script is one of our files, with nothing written between its tags."""
    source = script.attributes.get("src") or ""
    return source.startswith("/static/") and not script.text.strip()


def check_frame(page: Page) -> None:
    assert len(page.all("h1")) == 1
    assert page.one("html").attributes["lang"] == "en-GB"
    assert page.one("a", class_="skip").attributes["href"] == "#main"
    assert page.one("main").attributes["id"] == "main"
    assert not [node for node in page.nodes if "style" in node.attributes]
    assert all(is_our_own(one) for one in page.all("script"))
    assert page.headers["Content-Security-Policy"] == CONTENT_SECURITY_POLICY
    assert page.headers["X-Frame-Options"] == "DENY"
    assert page.headers["X-Content-Type-Options"] == "nosniff"
    assert page.headers["Referrer-Policy"] == "same-origin"
    assert page.headers["Cache-Control"] == "no-store"
    assert "Strict-Transport-Security" not in page.headers


async def test_every_control_has_a_name_and_every_id_is_one_of_a_kind(
    pages: Pages,
) -> None:
    for path in PATHS:
        check_names(await pages.get(path))


def check_names(page: Page) -> None:
    ids = [n.attributes["id"] for n in page.nodes if "id" in n.attributes]
    assert len(ids) == len(set(ids))
    for tag in ("select", "textarea", "input"):
        for control in page.all(tag):
            if control.attributes.get("type") != "hidden":
                assert "label" in control.inside, control


async def test_static_files_may_be_kept_for_good(pages: Pages) -> None:
    page = await pages.get("/laptops")
    sheet = page.one("link", rel="stylesheet").attributes["href"]

    kept = await pages.get(sheet or "")
    older = await pages.get("/static/site.000000000000.css")

    assert (kept.status, older.status) == (200, 404)
    assert "immutable" in kept.headers["Cache-Control"]
    assert older.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    "path",
    ["/no", "/laptops/999", "/laptops/x", "/laptops/9" + "9" * 30, "/laptops/%00"],
)
async def test_what_is_not_there_is_said_on_a_page(pages: Pages, path: str) -> None:
    answer = await pages.get(path)

    assert answer.status == 404
    assert answer.one("h1").text == "There is no such page"


async def test_another_method_is_answered_with_those_that_work(pages: Pages) -> None:
    answer = await pages.ask("/laptops", "DELETE")

    assert answer.status == 405
    assert "GET" in answer.headers["Allow"]


async def test_a_failure_is_a_page_that_tells_no_detail(
    pages: Pages, caplog: pytest.LogCaptureFixture
) -> None:
    answer = await pages.get("/test/fails")

    number = re.search(r"Request ([0-9a-f]{16})", answer.texts)
    assert answer.status == 500
    assert number is not None
    assert number[1] == answer.headers["X-Request-Id"]
    assert number[1] in caplog.text
    assert "a secret detail" not in answer.body


async def test_a_failure_in_the_middle_of_a_file_breaks_the_file_off(
    pages: Pages,
) -> None:
    async with pages.client.get("/test/breaks-off") as answer:
        with pytest.raises(ClientPayloadError):
            await answer.read()


async def test_pages_leave_programs_alone(pages: Pages, services: Services) -> None:
    with counted(services) as queries:
        answer = await pages.ask("/api/test")

    assert (answer.status, answer.body) == (200, "from the API")
    assert "Content-Security-Policy" not in answer.headers
    assert queries.count == 0


async def test_the_fleet_csv_is_a_download(pages: Pages) -> None:
    answer = await pages.ask("/exports/fleet.csv")

    rows = list(csv.DictReader(answer.body.splitlines()))
    assert answer.headers["Content-Type"].startswith("text/csv")
    assert (
        answer.headers["Content-Disposition"]
        == 'attachment; filename="fadewatch-fleet-2026-03-02.csv"'
    )
    assert answer.headers["Cache-Control"] == "no-store"
    assert (await pages.ask("/exports/fleet.csv", "HEAD")).status == 405
    # One laptop has no pack and keeps its row, one has two.
    assert len(rows) == 25


async def test_a_form_that_is_too_large_is_refused(pages: Pages) -> None:
    answer = await pages.post("/sign-out", {"x": "y" * 20_000})

    assert answer.status == 400
