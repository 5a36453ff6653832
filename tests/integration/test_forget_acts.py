"""Who may forget what and how, and where a name is none."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from sqlalchemy import select

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.store.compacting import compact
from fadewatch_collector.store.tables import (
    laptops,
    operators,
)
from fadewatch_collector.usecases.forget import forget_holder, forget_laptop
from fadewatch_collector.usecases.inspections import inspect
from fadewatch_collector.usecases.places import import_places
from fadewatch_collector.usecases.services import Services
from tests.fixtures.forgettable import (
    HOLDER,
    WORDS,
    a_laptop_with_a_life,
    every_row,
    naming,
)
from tests.fleet import new_laptop, rows, technician
from tests.integration.api_service import running_api
from tests.integration.pages_service import Pages, running_pages
from tests.integration.web_acts import send


async def test_its_bytes_are_gone_from_the_file(services: Services) -> None:
    if not services.store.is_sqlite:
        pytest.skip("PostgreSQL frees them when it vacuums")
    number, _ = await a_laptop_with_a_life(services)

    await forget_laptop(services, number, "ada", dry_run=False)
    await compact(services.store)
    await services.store.close()

    folder = Path(services.store.path).parent
    held = b"".join(path.read_bytes() for path in sorted(folder.iterdir())).lower()
    assert b"tern-900" in held
    assert [word for word in WORDS if word.lower().encode() in held] == []


async def test_a_dry_run_tells_the_same_and_changes_nothing(services: Services) -> None:
    number, _ = await a_laptop_with_a_life(services)
    before = await every_row(services)

    shown = await forget_laptop(services, number, "ada", dry_run=True)
    assert await every_row(services) == before
    done = await forget_laptop(services, number, "ada", dry_run=False)

    assert shown.blanked == done.blanked
    assert shown.deleted["reports"] == done.deleted["reports"] == 4
    assert (shown.done, done.done) == (False, True)


async def test_a_laptop_to_stop_using_is_not_forgotten(services: Services) -> None:
    number, _ = await a_laptop_with_a_life(services)
    operator = await technician(services, "kim")
    await inspect(services, number, operator, signs=["rocks"])
    before = await every_row(services)

    for dry_run in (True, False):
        with pytest.raises(Conflict, match="deal with the pack and end"):
            await forget_laptop(services, number, "ada", dry_run=dry_run)
    assert await every_row(services) == before


async def test_an_operator_of_the_same_name_stays_and_is_told(
    services: Services,
) -> None:
    number = await new_laptop(services)
    await technician(services, "robin")
    lines = ["laptop_serial,holder\r\n", "BM-1,Robin\r\n"]
    await import_places(services, lines, "robin", dry_run=False)

    told = await forget_holder(services, "Robin", "ada", dry_run=False)

    assert told.stays["operators.name"] == 1
    assert "laptops.holder" not in told.stays
    assert await rows(services, select(operators.c.name)) == [("robin",)]
    assert await rows(services, select(laptops.c.holder)) == [(None,)]
    assert number == 1


async def test_a_name_in_a_longer_word_is_another_name(services: Services) -> None:
    await new_laptop(services)
    lines = ["laptop_serial,holder,site\r\n", "BM-1,Ann,Annexe\r\n"]
    await import_places(services, lines, "pat", dry_run=False)

    await forget_holder(services, "ann", "ada", dry_run=False)

    column = laptops.c
    assert await rows(services, select(column.holder, column.site)) == [
        (None, "Annexe")
    ]


@pytest.mark.parametrize("name", ["", " a ", "ab"])
async def test_a_name_that_is_in_every_word_is_refused(
    services: Services, name: str
) -> None:
    with pytest.raises(InvalidRequest, match="3 characters"):
        await forget_holder(services, name, "ada", dry_run=False)


async def test_what_is_not_there_cannot_be_forgotten(services: Services) -> None:
    with pytest.raises(NotFound):
        await forget_laptop(services, 77, "ada", dry_run=False)
    with pytest.raises(NotFound):
        await forget_holder(services, "nobody at all", "ada", dry_run=False)


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    async with running_pages(services) as running:
        yield running


async def test_an_administrator_forgets_a_laptop_by_typing_its_number(
    pages: Pages, services: Services
) -> None:
    number, _ = await a_laptop_with_a_life(services)
    await pages.sign_in("administrator")
    path = f"/laptops/{number}/forget"
    before = await every_row(services)

    refused = await send(pages, path, path, typed="yes")
    assert (refused.status, await every_row(services)) == (400, before)
    assert "Type the laptop's number" in refused.texts
    done = await send(pages, path, path, typed=str(number))

    assert (done.status, "Still there" in done.texts) == (200, False), done.texts
    assert "A search of every table found nothing" in done.texts
    assert (await pages.get(f"/laptops/{number}")).status == 404


async def test_an_administrator_forgets_the_holder_alone(
    pages: Pages, services: Services
) -> None:
    number, _ = await a_laptop_with_a_life(services)
    await pages.sign_in("administrator")
    path = f"/laptops/{number}/forget"

    done = await send(pages, path, f"{path}/holder", typed=str(number))

    assert "A search of every table found nothing" in done.texts
    assert await naming(services, "åström") == {}
    assert (await pages.get(f"/laptops/{number}")).status == 200


async def test_nobody_else_forgets_or_takes_home(
    pages: Pages, services: Services
) -> None:
    number, _ = await a_laptop_with_a_life(services)
    await pages.sign_in("technician")
    before = await every_row(services)

    for path in (f"/laptops/{number}/forget", f"/laptops/{number}/held.json"):
        assert (await pages.get(path)).status == 403
    assert "Forget this laptop" not in (await pages.get(f"/laptops/{number}")).texts
    assert await every_row(services) == before


async def test_the_api_forgets_and_exports(services: Services) -> None:
    number, _ = await a_laptop_with_a_life(services)
    async with running_api(services) as api:
        token = await api.api_token("administrator")
        held = await api.ask("GET", f"/laptops/{number}/export", token)
        path = f"/laptops/{number}/forget"
        shown = await api.ask("POST", f"{path}?dry_run=true", token)
        done = await api.ask("POST", path, token)
        again = await api.ask("POST", path, token)
        body = {"name": HOLDER}
        holder = await api.ask("POST", "/holders/forget", token, json=body)

    assert shown.status == 200, shown.json
    assert held.json["laptop_id"] == number
    assert (shown.json["done"], done.json["done"], again.status) == (False, True, 404)
    assert (holder.status, holder.json["left"]) == (200, {})
