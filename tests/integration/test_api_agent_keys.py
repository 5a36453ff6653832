"""The key of a laptop, by the API."""

from collections.abc import AsyncIterator

import pytest

from fadewatch_collector.usecases.services import Services
from tests.integration.api_service import ApiService, running_api
from tests.integration.postgres import DATABASES

ON = DATABASES


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


async def deliver(api: ApiService, key: str) -> tuple[int, bool]:
    """Deliver nothing; return the status and whether the key should be renewed."""
    answer = await api.ask("POST", "/reports", key, json={"reports": []})
    asked = answer.status == 200 and answer.json.get("renew_key", False)
    return answer.status, bool(asked)


async def laptop_id(api: ApiService, token: str) -> int:
    (laptop,) = (await api.ask("GET", "/laptops", token)).json["laptops"]
    return int(laptop["id"])


async def test_an_agent_renews_its_key_when_it_is_asked_to(api: ApiService) -> None:
    key, administrator = await api.enrol(), await api.api_token("administrator")
    assert await deliver(api, key) == (200, False)
    path = f"/laptops/{await laptop_id(api, administrator)}/key/renewal"

    assert (await api.ask("POST", path, administrator)).status == 204
    assert await deliver(api, key) == (200, True)
    renewed = await api.ask("POST", "/key", key)

    assert renewed.status == 201
    assert await deliver(api, renewed.json["key"]) == (200, False)
    assert (await deliver(api, key))[0] == 401


async def test_a_revoked_key_opens_nothing_more(api: ApiService) -> None:
    key, administrator = await api.enrol(), await api.api_token("administrator")
    path = f"/laptops/{await laptop_id(api, administrator)}/key/revoke"

    assert (await api.ask("POST", path, administrator)).status == 204

    assert (await deliver(api, key))[0] == 401
    assert (await api.ask("POST", "/key", key)).status == 401
    assert (await api.ask("POST", path, administrator)).status == 404
