"""The register of removed packs, and the life of a pack on its page."""

from collections.abc import AsyncIterator
from typing import Any

import pytest
from sqlalchemy import insert, update

from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.store import tables
from fadewatch_collector.usecases.removed import NOT_FOR_SWOLLEN, WAYS
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.render import LOOSE_PACK_CAUTIONS
from tests.fixtures.shown_fleet import SWAPPED_LAPTOP, fill
from tests.integration.pages_service import Page, Pages, running_pages
from tests.integration.web_acts import HOSTILE, add_swap, be, rows, send

REGISTER = tables.removed_packs.c
KEPT = (REGISTER.state, REGISTER.place, REGISTER.swollen, REGISTER.note)


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    """Pages with the invented fleet, and a technician signed in."""
    async with running_pages(services) as pages:
        await pages.sign_in()
        await fill(services.store, services.clock(), laptops=24)
        yield pages


async def remove(services: Services, pack: int = 2, **more: Any) -> int:
    """Put a pack into the register and return its record's number."""
    now = services.clock()
    async with services.store.writing() as connection:
        done = await connection.execute(
            insert(tables.removed_packs)
            .values(
                **{
                    "pack_id": pack, "laptop_id": SWAPPED_LAPTOP, "slot": "BAT0",
                    "state": "removed", "swollen": None, "removed_at": now,
                    "removed_by": "mira", "changed_at": now,
                }
                | more
            )
            .returning(REGISTER.id)
        )  # fmt: skip
        number: int = done.scalar_one()
    return number


def ways_in(page: Page) -> list[str]:
    return [
        value for node in page.all("option")
        if (value := node.attributes.get("value") or "") in WAYS
    ]  # fmt: skip


async def test_a_pack_is_set_aside_and_handed_over(
    pages: Pages, services: Services
) -> None:
    number = await remove(services)
    path = f"/removed/{number}"

    aside = await send(
        pages, "/removed", f"{path}/set-aside",
        place="metal box", swollen="no", note="left shelf",
    )  # fmt: skip
    assert await rows(services, *KEPT) == [
        ("set aside", "metal box", False, "left shelf")
    ]
    gone = await send(pages, "/removed", f"{path}/hand-over", way="post")

    assert (aside.status, gone.status) == (303, 303)
    assert aside.headers["Location"] == f"/removed?done=set-aside#record-{number}"
    assert (await rows(services, *KEPT))[0][:2] == ("handed over", "post")
    shown = await pages.get("/removed")
    assert not shown.all("input", name="version")
    for page in ("/packs/2", f"/laptops/{SWAPPED_LAPTOP}"):
        told = (await pages.get(page)).texts
        assert "mira Pack set aside: metal box, not swollen: left shelf" in told
        assert "mira Pack handed over: post" in told


@pytest.mark.parametrize("swollen", [True, None])
async def test_what_may_be_swollen_is_not_offered_to_post_or_air_and_is_refused(
    pages: Pages, services: Services, swollen: bool | None
) -> None:
    number = await remove(services, swollen=swollen)

    page = await pages.get("/removed")
    answers = [
        await send(pages, "/removed", f"/removed/{number}/hand-over", way=way)
        for way in sorted(NOT_FOR_SWOLLEN)
    ]

    assert ways_in(page) == [way for way in WAYS if way not in NOT_FOR_SWOLLEN]
    for answer in answers:
        assert answer.status == 400
        assert "must not be posted or flown" in answer.one("p", role="alert").text
    assert (await rows(services, *KEPT))[0][0] == "removed"


async def test_a_swollen_pack_carries_the_cautions_for_a_loose_one(
    pages: Pages, services: Services
) -> None:
    await remove(services, swollen=True)

    for path in ("/removed", "/packs/2"):
        shown = (await pages.get(path)).texts
        assert all(caution in shown for caution in LOOSE_PACK_CAUTIONS)
        assert STOP_USE_CAUTIONS[0] not in shown
    assert "laptop" in STOP_USE_CAUTIONS[0]
    assert "Unplug" in STOP_USE_CAUTIONS[1]


async def test_a_pack_known_not_to_be_swollen_may_leave_by_any_way(
    pages: Pages, services: Services
) -> None:
    await remove(services, swollen=False)

    assert ways_in(await pages.get("/removed")) == list(WAYS)


async def test_whoever_comes_second_is_told_who_was_first(
    pages: Pages, services: Services
) -> None:
    number = await remove(services)
    seen = await pages.get("/removed")
    await be(pages, "technician", "kim")
    await send(
        pages, "/removed", f"/removed/{number}/set-aside", place="box", swollen=""
    )
    token = (await pages.get("/removed")).field("form_token")

    answer = await pages.post(
        f"/removed/{number}/set-aside",
        {
            "form_token": token, "version": seen.field("version"), "swollen": "yes",
            "place": "another box",
        },
    )  # fmt: skip

    assert answer.status == 409
    assert "by kim" in answer.one("p", role="alert").text
    assert answer.all("input", name="place")[0].attributes["value"] == "another box"
    assert (await rows(services, *KEPT))[0][1] == "box"


async def test_a_record_that_is_closed_says_so(
    pages: Pages, services: Services
) -> None:
    number = await remove(services)
    await send(
        pages, "/removed", f"/removed/{number}/hand-over", way="collection point"
    )

    answer = await send(
        pages, "/removed", f"/removed/{number}/hand-over", way="other", version="2"
    )

    assert answer.status == 409
    assert "handed over already" in answer.one("p", role="alert").text


@pytest.mark.parametrize(
    ("name", "fields", "why"),
    [
        ("set-aside", {"place": " ", "swollen": ""}, "The place is empty"),
        ("set-aside", {"place": "box", "swollen": "perhaps"}, "Say whether"),
        ("set-aside", {"place": "box", "swollen": "", "note": "x" * 501}, "longer"),
        ("hand-over", {"way": "by boat"}, "none of"),
        ("hand-over", {"way": "other", "version": ""}, "lacks its version"),
    ],
)
async def test_what_cannot_be_kept_is_said_at_the_form(
    pages: Pages, services: Services, name: str, fields: dict[str, str], why: str
) -> None:
    number = await remove(services)

    answer = await send(pages, "/removed", f"/removed/{number}/{name}", **fields)

    assert answer.status == 400
    assert why in answer.one("p", role="alert").text
    assert (await rows(services, *KEPT))[0][0] == "removed"


async def test_the_register_is_narrowed_by_state_and_goes_on(
    pages: Pages, services: Services
) -> None:
    for pack in range(1, 22):
        await remove(services, pack, state="removed" if pack % 2 else "handed over")

    page = await pages.get("/removed?state=handed+over")
    nonsense = await pages.get("/removed?state=lost")

    assert len(page.all("h3")) == 10
    assert nonsense.status == 400
    assert (await pages.get("/removed?after=xx")).status == 400


async def test_a_viewer_has_no_register(pages: Pages, services: Services) -> None:
    number = await remove(services)
    await be(pages, "viewer", "vic")

    assert not (await pages.get("/")).all("a", href="/removed")
    assert (await pages.get("/removed")).status == 403
    for name in ("set-aside", "hand-over"):
        answer = await send(
            pages, "/", f"/removed/{number}/{name}", version="1", place="x", way="other"
        )
        assert answer.status == 403
    assert (await rows(services, *KEPT))[0][0] == "removed"


async def test_forms_of_the_register_need_their_token(
    pages: Pages, services: Services
) -> None:
    number = await remove(services)

    for name in ("set-aside", "hand-over"):
        answer = await pages.post(f"/removed/{number}/{name}", {"version": "1"})
        assert answer.status == 403


async def test_a_pack_s_page_tells_its_life(pages: Pages, services: Services) -> None:
    swap, alert = await add_swap(services)
    await send(
        pages, f"/alerts/{alert}", f"/alerts/{alert}/confirm-swap",
        swap=str(swap), swollen="no",
    )  # fmt: skip

    old, new = await pages.get("/packs/2"), await pages.get("/packs/3")

    assert "in the register of removed packs as removed" in old.texts
    assert "In wor-lt-002, slot BAT0" in new.texts
    assert "mira Swap confirmed" in old.texts
    assert "mira Swap confirmed" in new.texts
    assert "Gone from wor-lt-002" in old.texts
    assert "Taken out of wor-lt-002" in old.texts
    assert "fitted" in new.all("svg", role="img")[0].text
    assert old.all("a", href="/removed#record-1")


async def test_what_is_written_is_only_ever_text(
    pages: Pages, services: Services
) -> None:
    number = await remove(services)
    async with services.store.writing() as connection:
        await connection.execute(
            update(tables.packs).values(maker=HOSTILE, model=HOSTILE, serial=HOSTILE)
        )
    await send(
        pages, "/removed", f"/removed/{number}/set-aside",
        place=HOSTILE, swollen="no", note=HOSTILE,
    )  # fmt: skip

    for path in ("/removed", "/packs/2"):
        page = await pages.get(path)
        assert page.status == 200
        assert HOSTILE in page.texts
        assert all(node.attributes.get("src") for node in page.all("script"))
        assert "2331" not in page.body


@pytest.mark.parametrize("path", ["/packs/99999", "/packs/x"])
async def test_a_pack_that_is_not_there_has_a_page(pages: Pages, path: str) -> None:
    assert (await pages.get(path)).status == 404
