"""Through the API: enrolment tokens, operators, API tokens, notification routes."""

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from fadewatch_collector.api.setup import DEFAULT_LIMITS, Rate
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.usecases.accounts import open_session, operator_of_session
from fadewatch_collector.usecases.api_tokens import make_api_token
from fadewatch_collector.usecases.services import Services
from tests.fakes.clock import StandingClock
from tests.integration.api_service import PASSWORD, ApiService, running_api
from tests.integration.postgres import DATABASES
from tests.reports import AGENT, LAPTOP

ON = DATABASES


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


@pytest.fixture
async def admin(api: ApiService) -> str:
    return await api.api_token("administrator", "ada")


async def done(
    api: ApiService, path: str, token: str, body: dict[str, Any] | None = None
) -> Any:
    more = {} if body is None else {"json": body}
    answer = await api.ask("POST", path, token, **more)
    assert answer.status in {200, 201, 204}, answer.json
    return answer.json


async def test_an_enrolment_token_is_shown_once_enrols_and_is_revoked(
    api: ApiService, admin: str
) -> None:
    made = await done(
        api, "/enrolment-tokens", admin, {"label": "imaging", "site": "Mill", "uses": 2}
    )
    body = {
        "token": made["token"],
        "laptop": {"serial": LAPTOP.serial},
        "agent": {"version": AGENT.version, "platform": AGENT.platform},
    }
    assert (await api.ask("POST", "/enrol", json=body)).status == 201

    answer = await api.ask("GET", "/enrolment-tokens", admin)
    (known,) = answer.json["tokens"]
    assert (known["label"], known["uses"], known["use_limit"]) == ("imaging", 1, 2)
    assert known["created_by"] == "ada"
    assert made["token"] not in answer.body.decode()

    await done(api, f"/enrolment-tokens/{known['id']}/revoke", admin)
    refused = await api.ask("POST", "/enrol", json=body)
    assert (refused.status, "revoked" in refused.json["detail"]) == (403, True)


async def test_an_operator_is_added_acts_and_is_disabled_at_once(
    api: ApiService, admin: str
) -> None:
    added = await done(
        api,
        "/operators",
        admin,
        {"name": "Kim", "role": "technician", "password": PASSWORD},
    )
    path = f"/operators/{added['id']}"
    made = await done(api, f"{path}/api-tokens", admin, {"label": "bench", "days": 30})
    assert (await api.ask("GET", "/alerts", made["token"])).status == 200

    await done(api, f"{path}/disable", admin)
    assert (await api.ask("GET", "/alerts", made["token"])).status == 401
    more = await api.ask(
        "POST", f"{path}/api-tokens", admin, json={"label": "x", "days": 1}
    )
    assert more.status == 409

    await done(api, f"{path}/enable", admin)
    shown = await api.ask("GET", "/operators", admin)
    assert [(one["name"], one["disabled_at"]) for one in shown.json["operators"]] == [
        ("ada", None),
        ("kim", None),
    ]
    assert "argon2" not in shown.body.decode()
    # Whoever comes back is given new tokens.
    assert (await api.ask("GET", "/alerts", made["token"])).status == 401


async def test_a_name_is_taken_once_and_a_weak_password_refused(
    api: ApiService, admin: str
) -> None:
    body = {"name": "ADA", "role": "viewer", "password": PASSWORD}

    taken = await api.ask("POST", "/operators", admin, json=body)
    weak = await api.ask(
        "POST", "/operators", admin, json=body | {"name": "x", "password": "a" * 20}
    )

    assert (taken.status, weak.status) == (409, 400)
    assert "soon be guessed" in weak.json["detail"]


async def test_nobody_disables_themselves(api: ApiService, admin: str) -> None:
    (own,) = (await api.ask("GET", "/operators", admin)).json["operators"]

    answer = await api.ask("POST", f"/operators/{own['id']}/disable", admin)

    assert answer.status == 409
    assert (await api.ask("GET", "/operators", admin)).status == 200


async def test_an_api_token_is_listed_without_its_secret_and_revoked(
    api: ApiService, admin: str
) -> None:
    viewer = await api.api_token("viewer")
    answer = await api.ask("GET", "/api-tokens", admin)
    newest, _ = answer.json["tokens"]
    assert viewer not in answer.body.decode()
    assert newest["operator_name"] == "viewer"

    await done(api, f"/api-tokens/{newest['id']}/revoke", admin)

    assert (await api.ask("GET", "/alerts", viewer)).status == 401
    again = await api.ask("POST", f"/api-tokens/{newest['id']}/revoke", admin)
    assert again.status == 404


async def test_a_routes_secret_is_shown_once_and_never_again(
    api: ApiService, admin: str
) -> None:
    body = {
        "label": "desk",
        "channel": "webhook",
        "target": "https://hooks.collector.example/alerts",
        "urgencies": ["act", "stop-use"],
        "sites": ["Mill"],
        "quiet": {"begin": "19:00", "end": "06:30"},
    }
    made = await done(api, "/notification-routes", admin, body)

    answer = await api.ask("GET", "/notification-routes", admin)

    assert made["secret"] not in answer.body.decode()
    (known,) = answer.json["routes"]
    assert known == body | {"id": made["id"], "urgencies": ["stop-use", "act"]}
    ended = await done(api, f"/notification-routes/{made['id']}/end", admin)
    assert ended == {"dropped": 0}
    assert (await api.ask("GET", "/notification-routes", admin)).json == {"routes": []}


BAD_ROUTES: tuple[dict[str, Any], ...] = (
    {"channel": "pigeon"},
    {"target": "http://hooks.collector.example/"},
    {"target": "https://169.254.1.1/"},
    {"quiet": {"begin": "24:00", "end": "06:00"}},
    {"quiet": {"begin": "06:00", "end": "06:00"}},
    {"secret": "mine"},
)


async def test_routes_that_cannot_be_are_refused(api: ApiService, admin: str) -> None:
    body = {"label": "desk", "channel": "webhook", "target": "https://a.example/"}

    for changes in BAD_ROUTES:
        answer = await api.ask(
            "POST", "/notification-routes", admin, json=body | changes
        )
        assert answer.status == 400, changes
    assert (await api.ask("GET", "/notification-routes", admin)).json == {"routes": []}


async def test_a_route_that_leads_nowhere_says_so_when_it_is_tried(
    api: ApiService, admin: str
) -> None:
    body = {"label": "desk", "channel": "mail", "target": "desk@collector.example"}
    made = await done(api, "/notification-routes", admin, body)

    tried = await done(api, f"/notification-routes/{made['id']}/test", admin)

    assert tried["delivered"] is False
    assert tried["problem"]


async def test_an_operator_is_signed_out_through_the_api(
    api: ApiService, admin: str
) -> None:
    added = await done(
        api,
        "/operators",
        admin,
        {"name": "kim", "role": "viewer", "password": PASSWORD},
    )
    kim = Operator(added["id"], "kim", "viewer")
    session = await open_session(api.services, kim)

    await done(api, f"/operators/{kim.id}/sign-out", admin)

    assert await operator_of_session(api.services, session) is None
    assert (await api.ask("POST", "/operators/999/sign-out", admin)).status == 404


async def test_the_tokens_of_one_operator_share_one_limit_and_others_have_their_own(
    services: Services, clock: StandingClock
) -> None:
    limits = replace(DEFAULT_LIMITS, operators=Rate(burst=4, per_second=0.5))
    async with running_api(services, limits) as api:
        one = await api.api_token("viewer", "kim")
        two = await make_api_token(services, "kim", "another", 1)
        other = await api.api_token("viewer", "lee")
        seen = [
            await api.ask("GET", "/policy", one if n % 2 else two) for n in range(5)
        ]

        assert [answer.status for answer in seen] == [200, 200, 200, 200, 429]
        assert seen[-1].headers["Retry-After"] == "2"
        assert (await api.ask("GET", "/policy", other)).status == 200
        clock.move(timedelta(seconds=2))
        assert (await api.ask("GET", "/policy", one)).status == 200
