"""The page of an alert, and what people do there."""

from collections.abc import AsyncIterator

import pytest
from sqlalchemy import select, update

from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.store import tables
from fadewatch_collector.usecases.alert_actions import acknowledge
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.alert import ACTIONS
from tests.fixtures.shown_fleet import STOP_USE_LAPTOP, fill
from tests.integration.pages_service import Page, Pages, running_pages
from tests.integration.web_acts import HOSTILE, add_swap, be, rows, send

ALERTS = tables.alerts.c
STATE = (ALERTS.state, ALERTS.version)


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    """Pages with the invented fleet, and a technician signed in."""
    async with running_pages(services) as pages:
        await pages.sign_in()
        await fill(services.store, services.clock(), laptops=24)
        yield pages


@pytest.fixture
async def alert(services: Services, pages: Pages) -> str:
    """Address of an open alert about wear."""
    del pages
    return f"/alerts/{await number_of(services, 'wear-plan')}"


async def number_of(services: Services, kind: str) -> int:
    query = select(ALERTS.id).where(ALERTS.kind == kind, ALERTS.state == "open")
    async with services.store.reading() as connection:
        number: int = (await connection.execute(query)).scalars().first() or 0
    return number


async def state_of(services: Services, address: str) -> tuple[str, int]:
    number = int(address.rsplit("/", 1)[1])
    query = select(*STATE).where(ALERTS.id == number)
    async with services.store.reading() as connection:
        state, version = (await connection.execute(query)).one()
    return state, version


def problem_of(page: Page) -> str:
    return page.one("p", role="alert").text


async def test_the_list_leads_to_an_alert_with_reason_next_step_and_evidence(
    pages: Pages, alert: str
) -> None:
    home = await pages.get("/")
    assert home.all("a", href=alert)

    page = await pages.get(alert)

    assert page.one("h1").text == "Plan a new pack"
    assert "the plan threshold is 30 %" in page.texts
    assert "Next: Order a pack of the same type" in page.texts
    assert "alert opened" in page.all("svg", role="img")[0].text
    evidence = [
        node.attributes["href"] or ""
        for node in page.all("a")
        if "?alert=" in (node.attributes["href"] or "")
    ]
    laptop = await pages.get(evidence[0])
    assert "alert opened" in laptop.all("svg", role="img")[0].text
    assert laptop.all("article", id=evidence[0].partition("#")[2])


async def test_a_stop_use_alert_shows_the_cautions(
    pages: Pages, services: Services
) -> None:
    number = await number_of(services, "sudden-drop")

    page = await pages.get(f"/alerts/{number}")

    assert all(caution in page.texts for caution in STOP_USE_CAUTIONS)


async def test_figures_at_the_opening_and_now_stand_side_by_side(
    pages: Pages, services: Services, alert: str
) -> None:
    async with services.store.writing() as connection:
        await connection.execute(
            update(tables.alerts).values(
                figures_opened={"wear_percent": 30.04, "readings": 80},
                figures_now={"wear_percent": 33.0, "readings": 95, "signs": ["gap"]},
            )
        )

    page = await pages.get(alert)

    table = page.all("table", class_="figures")[-1].text
    assert " ".join(table.split()) == (
        "FigureWhen it openedNow Wear30.0 %33.0 % Daily values8095 "
        "Signs seen—the lid or the bottom no longer closes flush"
    )


async def test_each_act_is_kept_and_told_with_who(
    pages: Pages, services: Services, alert: str
) -> None:
    await be(pages, "technician", "kim")
    acts: list[tuple[str, dict[str, str]]] = [
        ("acknowledge", {}),
        ("plan", {"on": "2026-03-09"}),
        ("hand-over", {"to": "mira"}),
        ("note", {"text": "Pack ordered."}),
        ("end", {"because": "The laptop is retired."}),
    ]
    for name, fields in acts:
        answer = await send(pages, alert, f"{alert}/{name}", **fields)

        assert answer.status == 303, name
        shown = await pages.get(answer.headers["Location"])
        assert shown.all("p", role="status")

    page = await pages.get(alert)
    trail = " ".join(page.one("ol", class_="history trail").text.split())
    assert trail.count("kim") == 5
    assert "kim planned for 2026-03-09" in trail
    assert "kim handed over to mira" in trail
    assert "kim noted: Pack ordered." in trail
    assert "kim ended: The laptop is retired." in trail
    assert "by kim: The laptop is retired." in page.texts
    assert (await state_of(services, alert))[0] == "ended"


async def test_the_laptop_and_the_list_tell_of_what_was_done(
    pages: Pages, services: Services, alert: str
) -> None:
    await send(pages, alert, f"{alert}/plan", on="2026-03-09")
    await send(pages, alert, f"{alert}/hand-over", to="mira")
    number = int(alert.rsplit("/", 1)[1])
    ((laptop,),) = [
        row[1:] for row in await rows(services, ALERTS.id, ALERTS.laptop_id)
        if row[0] == number
    ]  # fmt: skip

    history = (await pages.get(f"/laptops/{laptop}")).texts
    listed = (await pages.get("/?state=planned")).texts

    assert f"mira Alert {number}: planned for 2026-03-09" in history
    assert "planned for 2026-03-09" in listed
    assert "Withmira" in listed


async def test_whoever_comes_second_is_told_who_was_first_and_loses_nothing(
    pages: Pages, services: Services, alert: str
) -> None:
    shown = await pages.get(alert)
    number = int(alert.rsplit("/", 1)[1])
    kim = await be(pages, "technician", "kim")
    await acknowledge(services, number, 1, kim)
    token = (await pages.get(alert)).field("form_token")

    answer = await pages.post(
        f"{alert}/end",
        {
            "form_token": token,
            "version": shown.field("version"),
            "because": "I had another reason.",
        },
    )

    assert answer.status == 409
    assert "by kim" in problem_of(answer)
    assert "look at it again" in problem_of(answer)
    assert answer.one("textarea", name="because").text == "I had another reason."
    assert answer.field("version") == "2"
    assert (await state_of(services, alert)) == ("acknowledged", 2)


@pytest.mark.parametrize(
    ("name", "fields", "why"),
    [
        ("plan", {"on": "2026-02-01"}, "is past"),
        ("plan", {"on": "soon"}, "Choose a day"),
        ("plan", {}, "Choose a day"),
        ("hand-over", {"to": "nobody"}, "There is no operator nobody"),
        ("note", {"text": "  "}, "The note is empty"),
        ("end", {"because": "x" * 2001}, "longer than 2000"),
        ("acknowledge", {"version": "old"}, "lacks its version"),
    ],
)
async def test_what_cannot_be_done_is_said_at_the_form(
    pages: Pages,
    services: Services,
    alert: str,
    name: str,
    fields: dict[str, str],
    why: str,
) -> None:
    answer = await send(pages, alert, f"{alert}/{name}", **fields)

    assert answer.status in {400, 404}
    assert why in problem_of(answer)
    assert await state_of(services, alert) == ("open", 1)


async def test_an_ended_alert_offers_a_note_only(pages: Pages, alert: str) -> None:
    await send(pages, alert, f"{alert}/end", because="done")

    page = await pages.get(alert)

    forms = {node.attributes["action"] for node in page.all("form", method="post")}
    assert forms == {"/sign-out", f"{alert}/note"}


async def test_a_viewer_sees_no_form_and_is_refused(
    pages: Pages, services: Services, alert: str
) -> None:
    await be(pages, "viewer", "vic")
    page = await pages.get(alert)
    token = page.field("form_token")

    assert [n.attributes["action"] for n in page.all("form", method="post")] == [
        "/sign-out"
    ]
    for action in ACTIONS:
        answer = await pages.post(
            f"{alert}/{action.name}",
            {"form_token": token, "version": "1", "on": "2026-03-09", "text": "x"},
        )
        assert answer.status == 403, action.name
        assert "this account may not" in answer.texts.lower()
    assert await state_of(services, alert) == ("open", 1)


async def test_a_form_from_elsewhere_does_nothing(
    pages: Pages, services: Services, alert: str
) -> None:
    own = (await pages.get(alert)).field("form_token")
    for form, headers in (
        ({"version": "1"}, {}),
        ({"version": "1", "form_token": "x"}, {}),
        ({"version": "1", "form_token": own}, {"Origin": "https://elsewhere.example"}),
        ({"version": "1", "form_token": own}, {"Origin": "null"}),
        ({"version": "1", "form_token": own}, {"Sec-Fetch-Site": "cross-site"}),
    ):
        answer = await pages.post(f"{alert}/acknowledge", form, headers)
        assert answer.status == 403
    assert await state_of(services, alert) == ("open", 1)


async def test_what_people_write_is_only_ever_text(pages: Pages, alert: str) -> None:
    await send(pages, alert, f"{alert}/note", text=HOSTILE)
    await send(pages, alert, f"{alert}/end", because=HOSTILE)

    for path in (alert, "/?state=ended"):
        page = await pages.get(path)
        assert all(one.attributes.get("src") for one in page.all("script"))
        assert "2331" not in page.body
        assert HOSTILE in page.texts
    refused = await send(pages, alert, f"{alert}/note", text=HOSTILE + "x" * 2001)
    assert all(one.attributes.get("src") for one in refused.all("script"))


async def test_the_verdict_on_a_swap_stands_by_its_forms(
    pages: Pages, services: Services
) -> None:
    _, number = await add_swap(services, wrong=("It is not new: 410 cycles.",))

    page = await pages.get(f"/alerts/{number}")

    assert "What speaks against the pack fitted It is not new: 410 cycles." in (
        page.texts
    )
    assert "It charges." in page.texts
    assert "Confirm: this pack is meant to be there" in page.texts


async def test_a_swap_is_confirmed_with_a_word_on_swelling(
    pages: Pages, services: Services
) -> None:
    swap, number = await add_swap(services)
    path = f"/alerts/{number}"

    silent = await send(pages, path, f"{path}/confirm-swap", swap=str(swap))
    done = await send(
        pages, path, f"{path}/confirm-swap", swap=str(swap), swollen="yes"
    )
    again = await send(
        pages, path, f"{path}/confirm-swap", swap=str(swap), swollen="no"
    )

    assert (silent.status, done.status, again.status) == (400, 303, 409)
    assert "swollen" in problem_of(silent)
    removed = tables.removed_packs.c
    assert await rows(services, removed.pack_id, removed.swollen) == [(2, True)]
    assert "The swap was confirmed by mira" in (await pages.get(path)).texts
    laptop = (await pages.get("/laptops/2")).texts
    assert "confirmed by mira" in laptop
    assert "mira Swap confirmed; the removed pack: swollen" in laptop


async def test_a_swap_can_be_turned_down(pages: Pages, services: Services) -> None:
    swap, number = await add_swap(services)
    path = f"/alerts/{number}"

    answer = await send(pages, path, f"{path}/reject-swap", swap=str(swap))

    assert answer.status == 303
    assert "The swap was rejected by mira" in (await pages.get(path)).texts
    assert await rows(services, tables.removed_packs.c.id) == []


@pytest.mark.parametrize("path", ["/alerts/99999", "/alerts/x", "/alerts/-1"])
async def test_an_alert_that_is_not_there_has_a_page(pages: Pages, path: str) -> None:
    assert (await pages.get(path)).status == 404


async def test_an_alert_about_a_laptop_has_no_plot(
    pages: Pages, services: Services
) -> None:
    number = await number_of(services, "silent")

    page = await pages.get(f"/alerts/{number}")

    assert page.one("h1").text == "No report"
    assert not page.all("svg", role="img")
    assert f"/laptops/{STOP_USE_LAPTOP}" not in page.body
