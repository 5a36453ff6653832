"""Places from a CSV file: dry run, import, undo."""

import io
from collections.abc import AsyncIterator

import pytest
from aiohttp import FormData

from fadewatch_collector.store import tables
from fadewatch_collector.usecases.places import import_places
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.upload import FILE_BYTES, packed
from tests.fixtures.shown_fleet import fill
from tests.integration.pages_service import Page, Pages, running_pages
from tests.integration.web_acts import HOSTILE, be, rows, send

LAPTOPS = tables.laptops.c
SERIALS = ("TB07919", "TB15838")
"""Of the laptops 1 and 2."""

FILE = f"laptop_serial,asset_tag,site\n{SERIALS[0]},NEW-1,Old Mill\nNONE-9,X,Y\n"


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    """Pages with the invented fleet, and a technician signed in."""
    async with running_pages(services) as pages:
        await pages.sign_in()
        await fill(services.store, services.clock(), laptops=24)
        yield pages


async def upload(
    pages: Pages, content: bytes | str, *, bound: str | None = None
) -> Page:
    """Send a file for a dry run."""
    if bound is None:
        bound = (await pages.get("/places")).field("form_token")
    form = FormData(quote_fields=False)
    form.add_field("form_token", bound)
    form.add_field(
        "file",
        io.BytesIO(content.encode() if isinstance(content, str) else content),
        filename="places.csv",
        content_type="text/csv",
    )
    return await pages.post("/places/dry-run", form)


async def confirm(pages: Pages, plan: Page, **more: str) -> Page:
    names = ("form_token", "seen", "content")
    form = {name: plan.field(name) for name in names}
    return await pages.post("/places/import", form | more)


async def tag_of(services: Services, laptop: int) -> str | None:
    found = await rows(services, LAPTOPS.id, LAPTOPS.asset_tag)
    tag: str | None = dict(found)[laptop]
    return tag


def problem_of(page: Page) -> str:
    return page.one("p", role="alert").text


async def test_a_dry_run_shows_every_change_and_changes_nothing(
    pages: Pages, services: Services
) -> None:
    plan = await upload(pages, FILE)

    assert plan.status == 200
    assert "1 laptop would change" in plan.texts
    assert "asset tag A-4001 → NEW-1; site Old Mill" not in plan.texts
    assert "asset tag A-4001 → NEW-1" in plan.texts
    assert "NONE-9 line 3" in plan.texts
    assert await tag_of(services, 1) == "A-4001"
    assert await rows(services, tables.place_imports.c.id) == []


async def test_confirming_imports_and_undoing_gives_back(
    pages: Pages, services: Services
) -> None:
    done = await confirm(pages, await upload(pages, "\ufeff" + FILE))
    assert done.headers["Location"] == "/places?done=imported"
    assert await tag_of(services, 1) == "NEW-1"
    laptop = await pages.get("/laptops/1")
    assert "mira Import: asset tag A-4001 → NEW-1" in laptop.texts

    number = (await pages.get("/places")).field("import")
    back = await send(pages, "/places", "/places/undo", **{"import": number})
    again = await send(pages, "/places", "/places/undo", **{"import": number})

    assert (back.status, again.status) == (303, 409)
    assert await tag_of(services, 1) == "A-4001"
    assert "by mira" in (await pages.get("/places")).texts
    assert "undone by mira" in problem_of(again)


async def test_what_changed_since_the_dry_run_is_shown_before_anything_is_done(
    pages: Pages, services: Services
) -> None:
    plan = await upload(pages, FILE)
    other = ["laptop_serial,asset_tag\n", f"{SERIALS[0]},OTHER\n"]
    await import_places(services, other, "kim", dry_run=False)

    answer = await confirm(pages, plan)

    assert answer.status == 409
    assert "Something has changed since you looked" in problem_of(answer)
    assert "asset tag OTHER → NEW-1" in answer.texts
    assert await tag_of(services, 1) == "OTHER"
    assert (await confirm(pages, answer)).status == 303
    assert await tag_of(services, 1) == "NEW-1"


async def test_an_undo_that_somebody_overtook_undoes_nothing(
    pages: Pages, services: Services
) -> None:
    await confirm(pages, await upload(pages, FILE))
    seen = (await pages.get("/places")).field("import")
    other = ["laptop_serial,asset_tag\n", f"{SERIALS[1]},OTHER\n"]
    await import_places(services, other, "kim", dry_run=False)

    answer = await send(pages, "/places", "/places/undo", **{"import": seen})

    assert answer.status == 409
    assert "kim" in problem_of(answer)
    assert await tag_of(services, 2) == "OTHER"


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "Choose a file first"),
        (b"serial,site\nx,y\n", "The first line must name laptop_serial"),
        (b"laptop_serial,site\nTB07919,\xff\n", "not UTF-8"),
        (b'laptop_serial,site\nTB07919,"x\n', "Line 2"),
        (b"\x00" * 400, "The first line must name"),
    ],
)
async def test_a_file_that_cannot_be_read_is_explained(
    pages: Pages, content: bytes, why: str
) -> None:
    answer = await upload(pages, content)

    assert answer.status == 400
    assert why in problem_of(answer)


async def test_a_line_with_a_problem_stops_the_import(
    pages: Pages, services: Services
) -> None:
    plan = await upload(pages, FILE + f"{SERIALS[0]},TWICE,\n")

    assert "line 4: the serial stands in line 2 already" in plan.texts
    assert not plan.all("form", action="/places/import")
    forced = await pages.post(
        "/places/import",
        {
            "form_token": plan.field("form_token"),
            "content": packed((FILE + f"{SERIALS[0]},TWICE,\n").encode()),
            "seen": "",
        },
    )
    assert forced.status == 409
    assert await tag_of(services, 1) == "A-4001"


async def test_a_file_that_is_too_large_is_refused(pages: Pages) -> None:
    answer = await upload(pages, b"x" * (FILE_BYTES + 1))

    assert answer.status == 400
    assert "larger than 5 MiB" in problem_of(answer)


async def test_a_small_field_that_unpacks_to_a_huge_file_is_refused(
    pages: Pages,
) -> None:
    token = (await pages.get("/places")).field("form_token")
    for content, why in (
        (packed(b"x" * (FILE_BYTES * 20)), "larger than 5 MiB"),
        ("!!", "lost on the way"),
        ("", "lost on the way"),
        ("AAAA", "lost on the way"),
    ):
        answer = await pages.post(
            "/places/import", {"form_token": token, "content": content, "seen": ""}
        )
        assert answer.status == 400, why
        assert why in problem_of(answer)


async def test_a_file_near_the_limit_goes_through(pages: Pages) -> None:
    lines = "".join(f"NONE-{n},{n * 7919 % 99991}\n" for n in range(150_000))

    plan = await upload(pages, "laptop_serial,asset_tag\n" + lines)

    assert plan.status == 200
    assert "150000 serials match no laptop" in plan.texts


async def test_forms_about_places_need_their_token(
    pages: Pages, services: Services
) -> None:
    plan = await upload(pages, FILE)
    fields = {"seen": plan.field("seen"), "content": plan.field("content")}

    assert (await upload(pages, FILE, bound="x")).status == 403
    assert (await pages.post("/places/import", fields)).status == 403
    assert (await pages.post("/places/undo", {"import": "1"})).status == 403
    assert await tag_of(services, 1) == "A-4001"


async def test_a_viewer_has_no_places(pages: Pages, services: Services) -> None:
    await be(pages, "viewer", "vic")
    token = (await pages.get("/")).field("form_token")

    assert not (await pages.get("/")).all("a", href="/places")
    assert (await pages.get("/places")).status == 403
    assert (await upload(pages, FILE, bound=token)).status == 403
    for action in ("import", "undo"):
        answer = await pages.post(
            f"/places/{action}", {"form_token": token, "content": packed(FILE.encode())}
        )
        assert answer.status == 403
    assert await tag_of(services, 1) == "A-4001"


async def test_what_a_file_says_is_only_ever_text(pages: Pages) -> None:
    hostile = HOSTILE.replace('"', "")
    plan = await upload(
        pages,
        f"laptop_serial,asset_tag,holder\n{SERIALS[0]},{hostile},{hostile}\n"
        f"{hostile},x,y\n",
    )
    await confirm(pages, plan)

    for page in (plan, await pages.get("/laptops/1"), await pages.get("/")):
        assert page.status == 200
        assert all(one.attributes.get("src") for one in page.all("script"))
        assert "2331" not in page.body
