"""The agents' pages: versions, laptops that never reported, steps, keys."""

from collections.abc import AsyncIterator
from dataclasses import replace

import pytest
from sqlalchemy import select, update

from fadewatch_collector.rules.operators import Role
from fadewatch_collector.store.tables import agent_keys, laptops
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.agents import ROWS
from fadewatch_common import __version__
from tests.fleet import live, new_laptop
from tests.integration.api_service import running_api
from tests.integration.pages_service import Pages, running_pages
from tests.integration.web_acts import HOSTILE, send
from tests.reports import LAPTOP, make_report


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    async with running_pages(services) as pages:
        await pages.sign_in("administrator")
        yield pages


async def reporting(services: Services, serial: str, version: str) -> int:
    number = await new_laptop(services, serial)
    whole = make_report()
    told = replace(whole, agent=replace(whole.agent, version=version))
    await live(services, number, told)
    return number


async def test_versions_in_use_stand_beside_the_collectors_own(
    pages: Pages, services: Services
) -> None:
    await reporting(services, "A-1", __version__)
    await reporting(services, "A-2", "0.0.9")
    await reporting(services, "A-3", "99.0")

    texts = (await pages.get("/agents")).texts

    assert f"This collector is version {__version__}." in texts
    assert "99.011 newer: update the collector" in texts
    assert f"{__version__}11 the same" in texts
    assert "0.0.911 older: update these" in texts


async def test_a_laptop_that_never_reported_is_listed_until_it_does(
    pages: Pages, services: Services
) -> None:
    number = await new_laptop(services, "SILENT-1")
    texts = (await pages.get("/agents")).texts
    assert "serial SILENT-1" in texts
    assert "1 laptop." in texts

    await live(services, number, make_report())

    texts = (await pages.get("/agents")).texts
    assert "SILENT-1" not in texts
    assert "Every laptop that enrolled has reported." in texts


async def test_many_silent_laptops_come_a_page_at_a_time(
    pages: Pages, services: Services
) -> None:
    for number in range(ROWS + 1):
        await new_laptop(services, f"SILENT-{number:03}")

    first = await pages.get("/agents")
    links = [
        node.attributes["href"]
        for node in first.nodes
        if "after=" in (node.attributes.get("href") or "")
    ]
    second = await pages.get(str(links[0]))

    assert "SILENT-000" not in first.texts
    assert "SILENT-000" in second.texts
    assert f"SILENT-{ROWS:03}" not in second.texts


async def test_hostile_names_stay_text(pages: Pages, services: Services) -> None:
    number = await new_laptop(services, HOSTILE[:60])
    async with services.store.writing() as connection:
        await connection.execute(
            update(laptops).where(laptops.c.id == number).values(hostname=HOSTILE)
        )

    page = await pages.get("/agents")

    assert HOSTILE in page.texts


@pytest.mark.parametrize("role", ["viewer", "technician", "administrator"])
async def test_the_steps_are_for_those_who_set_laptops_up(
    services: Services, role: Role
) -> None:
    async with running_pages(services) as pages:
        await pages.sign_in(role)
        answer = await pages.get("/agents/set-up")

        assert answer.status == (403 if role == "viewer" else 200)
        if role != "viewer":
            assert "install --collector http" in answer.texts
            assert "check-image" in answer.texts


async def test_an_administrator_renews_and_revokes_a_key(
    pages: Pages, services: Services
) -> None:
    number = await reporting(services, "A-1", __version__)
    path = f"/laptops/{number}"

    asked = await send(pages, path, f"{path}/key/renew")
    revoked = await send(pages, path, f"{path}/key/revoke")
    gone = await send(pages, path, f"{path}/key/revoke")

    assert asked.headers["Location"] == f"{path}?done=key-renewal"
    assert revoked.headers["Location"] == f"{path}?done=key-revoked"
    assert gone.headers["Location"] == f"{path}?done=no-key"
    async with services.store.reading() as connection:
        key = agent_keys.c
        row = (
            await connection.execute(select(key.renewal_asked_at, key.revoked_at))
        ).one()
    assert None not in tuple(row)


async def test_a_technician_may_not_end_a_key(services: Services) -> None:
    number = await new_laptop(services, "A-1")
    async with running_pages(services) as pages:
        await pages.sign_in("technician")
        path = f"/laptops/{number}"

        assert "The agent's key" not in (await pages.get(path)).texts
        assert (await send(pages, "/laptops", f"{path}/key/revoke")).status == 403


async def test_a_program_asks_for_the_same(services: Services) -> None:
    number = await new_laptop(services, "SILENT-1", LAPTOP)
    await reporting(services, "A-1", "0.0.9")
    async with running_api(services) as api:
        told = (await api.ask("GET", "/agents", await api.api_token("viewer"))).json

    assert told["collector_version"] == __version__
    assert told["versions"] == [
        {"version": "0.0.9", "laptops": 1, "lately": 1, "standing": "older"}
    ]
    assert told["never_reported"] == 1
    assert [one["id"] for one in told["laptops"]] == [number]
    assert told["next_cursor"] is None
