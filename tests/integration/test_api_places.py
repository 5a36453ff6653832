"""Through the API: places by CSV, and the policy of a scope."""

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import pytest

from fadewatch_collector.usecases.services import Services
from tests.fleet import new_laptop
from tests.integration.api_service import Answer, ApiService, running_api
from tests.integration.postgres import DATABASES

ON = DATABASES

HEAD = "laptop_serial,asset_tag,holder,site\r\n"


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


@pytest.fixture
async def pat(api: ApiService) -> str:
    return await api.api_token("technician", "pat")


@pytest.fixture
async def admin(api: ApiService) -> str:
    return await api.api_token("administrator", "ada")


async def send(
    api: ApiService, token: str, file: str | bytes, query: str = ""
) -> Answer:
    body = file.encode() if isinstance(file, str) else file
    headers = {"Content-Type": "text/csv; charset=utf-8"}
    return await api.ask("POST", f"/places{query}", token, data=body, headers=headers)


async def place(api: ApiService, token: str) -> tuple[Any, ...]:
    shown = (await api.ask("GET", "/laptops/1", token)).json
    return shown["asset_tag"], shown["holder"], shown["site"]


async def test_places_are_tried_imported_and_undone(api: ApiService, pat: str) -> None:
    await new_laptop(api.services, "BM-1")
    file = "\ufeff" + HEAD + "bm-1,T-1,desk 9,South\r\nBM-9,T-9,,South\r\n"

    tried = await send(api, pat, file, "?dry_run=true")
    assert (tried.status, await place(api, pat)) == (200, (None, None, "North"))
    imported = await send(api, pat, file)
    assert await place(api, pat) == ("T-1", "desk 9", "South")

    assert tried.json == imported.json | {"imported": False}
    assert imported.json["unmatched"] == [{"line": 3, "serial": "BM-9"}]
    assert imported.json["changes"] == [
        {
            "laptop_id": 1,
            "serial": "BM-1",
            "before": {"asset_tag": None, "holder": None, "site": "North"},
            "after": {"asset_tag": "T-1", "holder": "desk 9", "site": "South"},
        }
    ]
    (known,) = (await api.ask("GET", "/places/imports", pat)).json["imports"]
    undone = await api.ask("POST", f"/places/imports/{known['id']}/undo", pat)
    assert (undone.status, undone.json) == (200, {"laptops": 1})
    assert await place(api, pat) == (None, None, "North")


async def test_an_import_is_undone_once_though_two_ask(
    api: ApiService, pat: str
) -> None:
    kim = await api.api_token("technician", "kim")
    await new_laptop(api.services, "BM-1")
    await send(api, pat, HEAD + "BM-1,T-1,,North\r\n")
    await send(api, pat, HEAD + "BM-1,T-2,,North\r\n")

    answers = await asyncio.gather(
        api.ask("POST", "/places/imports/2/undo", pat),
        api.ask("POST", "/places/imports/2/undo", kim),
    )

    first, second = sorted(answers, key=lambda answer: answer.status)
    assert (first.status, second.status) == (200, 409)
    assert second.json["changed_by"] in {"pat", "kim"}
    assert (await place(api, pat))[0] == "T-1"


async def test_another_import_than_the_newest_is_not_undone(
    api: ApiService, pat: str
) -> None:
    await new_laptop(api.services, "BM-1")
    await send(api, pat, HEAD + "BM-1,T-1,,\r\n")
    await send(api, pat, HEAD + "BM-1,T-2,,\r\n")

    older = await api.ask("POST", "/places/imports/1/undo", pat)
    never = await api.ask("POST", "/places/imports/7/undo", pat)

    assert (older.status, never.status) == (409, 409)
    assert "followed by another" in older.json["detail"]
    assert (await place(api, pat))[0] == "T-2"


BAD_FILES: tuple[tuple[str | bytes, str], ...] = (
    ("", "the first line must name laptop_serial"),
    ("laptop_serial,colour\r\n", "the first line must name"),
    (HEAD + "BM-1,T-1\r\n", "line 2 has 2 cells"),
    (b"laptop_serial,site\r\nBM-1,S\xfcd\r\n", "not UTF-8"),
    (
        HEAD + "BM-1,a,,\r\nBM-1,b,,\r\n,c,,\r\n",
        "line 3: the serial stands in line 2 already and 1 more problem",
    ),
)


async def test_files_with_a_problem_change_nothing_and_say_where(
    api: ApiService, pat: str
) -> None:
    await new_laptop(api.services, "BM-1")

    for file, words in BAD_FILES:
        answer = await send(api, pat, file)

        assert (answer.status, words in answer.json["detail"]) == (400, True), file
    assert await place(api, pat) == (None, None, "North")


async def test_places_are_taken_as_csv_only(api: ApiService, pat: str) -> None:
    answer = await api.ask("POST", "/places", pat, json={})

    assert (answer.status, answer.headers["Accept"]) == (415, "text/csv")


async def put(api: ApiService, token: str, scope: str, body: Any) -> Answer:
    return await api.ask("PUT", "/policy", token, params={"scope": scope}, json=body)


async def test_a_policy_is_set_for_one_scope_over_the_fleets(
    api: ApiService, admin: str
) -> None:
    differs = {"plan_wear_percent": 25, "silent_days": 7, "least_storage_gb": 480}
    fleet = {"version": 0, "changes": differs}
    site = {"version": 0, "changes": {"plan_wear_percent": 29.5}}

    await put(api, admin, "fleet", fleet)
    answer = await put(api, admin, "site:Old Mill / east", site)

    assert answer.status == 200
    assert answer.json["in_force"]["plan_wear_percent"] == 29.5
    assert answer.json["in_force"]["silent_days"] == 7
    assert answer.json["in_force"]["least_storage_gb"] == 480
    assert answer.json["in_force"]["least_memory_mib"] == 8192
    assert answer.json["in_force"]["replace_wear_percent"] == 40
    assert answer.json["changed_by"] == "ada"
    viewer = await api.api_token("viewer")
    shown = await api.ask(
        "GET", "/policy", viewer, params={"scope": "site:Old Mill / east"}
    )
    assert shown.json == answer.json
    scopes = (await api.ask("GET", "/policies", viewer)).json["scopes"]
    assert [one["scope"] for one in scopes] == ["fleet", "site:Old Mill / east"]


async def test_of_two_who_change_a_policy_one_is_told_who_was_first(
    api: ApiService, admin: str
) -> None:
    other = await api.api_token("administrator", "bea")

    answers = await asyncio.gather(
        put(api, admin, "fleet", {"version": 0, "changes": {"silent_days": 7}}),
        put(api, other, "fleet", {"version": 0, "changes": {"silent_days": 9}}),
    )

    first, second = sorted(answers, key=lambda answer: answer.status)
    assert (first.status, second.status) == (200, 409)
    assert second.json["changed_by"] == first.json["changed_by"]
    now = (await api.ask("GET", "/policy", admin)).json
    assert now == first.json


async def test_a_policy_goes_back_to_the_default_when_nothing_differs(
    api: ApiService, admin: str
) -> None:
    default = (await api.ask("GET", "/policy", admin)).json
    changes = {"silent_days": 7}
    changed = await put(api, admin, "fleet", {"version": 0, "changes": changes})

    back = await put(
        api, admin, "fleet", {"version": changed.json["version"], "changes": {}}
    )

    assert back.json["in_force"] == default["in_force"]
    assert (await api.ask("GET", "/policies", admin)).json == {"scopes": []}


BAD_POLICIES: tuple[tuple[str, dict[str, float]], ...] = (
    ("fleet", {"plan_wear_percent": 0.3}),
    ("fleet", {"plan_wear_percent": 45}),
    ("fleet", {"silent_days": 7.5}),
    ("fleet", {"least_memory_mib": 600_000}),
    ("fleet", {"silent_weeks": 2}),
    ("site:", {"silent_days": 7}),
    ("model:no bar", {"silent_days": 7}),
    ("region:north", {"silent_days": 7}),
)


async def test_policies_that_cannot_be_used_are_refused_with_a_sentence(
    api: ApiService, admin: str
) -> None:
    for scope, changes in BAD_POLICIES:
        answer = await put(api, admin, scope, {"version": 0, "changes": changes})

        assert (answer.status, bool(answer.json["detail"])) == (400, True), changes
    assert (await api.ask("GET", "/policies", admin)).json == {"scopes": []}
