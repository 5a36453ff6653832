"""A laptop enrols over HTTP."""

import json
from collections.abc import AsyncIterator
from dataclasses import replace
from typing import Any

import pytest

from fadewatch_collector.api.setup import DEFAULT_LIMITS, Rate
from fadewatch_collector.usecases.agent_keys import laptop_of_key
from fadewatch_collector.usecases.services import Services
from fadewatch_common.encoding import to_plain
from tests.integration.api_service import PROBLEM_TYPE, Answer, ApiService, running_api
from tests.integration.postgres import DATABASES
from tests.reports import AGENT, LAPTOP

ON = DATABASES


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


def asked(token: str, **changes: Any) -> dict[str, Any]:
    plain = {"token": token, "laptop": to_plain(LAPTOP), "agent": to_plain(AGENT)}
    return plain | changes


async def enrol(api: ApiService, body: object) -> Answer:
    return await api.ask("POST", "/enrol", json=body)


async def test_a_good_token_gives_a_key_that_works(api: ApiService) -> None:
    answer = await enrol(api, asked(await api.token()))

    assert answer.status == 201
    assert answer.headers["Cache-Control"] == "no-store"
    assert set(answer.json) == {"laptop_id", "key"}
    laptop_id = await laptop_of_key(api.services, answer.json["key"])
    assert laptop_id == answer.json["laptop_id"]


async def test_a_token_that_is_unknown_or_used_up_is_forbidden(api: ApiService) -> None:
    token = await api.token(uses=1)
    await enrol(api, asked(token))

    for refused in (token, "fwt_invented"):
        answer = await enrol(api, asked(refused))
        assert answer.status == 403
        assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)
        assert refused not in answer.body.decode()


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ([], "Input should be an object"),
        ({}, "token: "),
        (asked(""), "token: "),
        (asked("x" * 201), "token: "),
        (asked("t", laptop={"serial": 5}), "laptop.serial: "),
        (asked("t", laptop={"serial": "a\u0007"}), "laptop.serial: "),
        (asked("t", agent={"version": "1"}), "agent.platform: "),
    ],
)
async def test_a_body_outside_the_contract_is_refused_by_its_first_field(
    api: ApiService, body: object, said: str
) -> None:
    answer = await enrol(api, body)

    assert answer.status == 400
    assert said in answer.json["detail"]


async def test_fields_of_a_newer_agent_are_ignored(api: ApiService) -> None:
    laptop = to_plain(LAPTOP) | {"colour": "grey"}  # type: ignore[operator]  # a dict

    answer = await enrol(api, asked(await api.token(), laptop=laptop, more=[1]))

    assert answer.status == 201


async def test_a_large_enrolment_is_refused(api: ApiService) -> None:
    answer = await api.ask(
        "POST",
        "/enrol",
        data=json.dumps(asked("t", more="x" * 70_000)),
        headers={"Content-Type": "application/json"},
    )

    assert answer.status == 413


async def test_one_address_cannot_enrol_without_end(services: Services) -> None:
    limits = replace(DEFAULT_LIMITS, enrolments=Rate(burst=3, per_second=0.01))
    async with running_api(services, limits) as api:
        answers = [await enrol(api, asked("fwt_invented")) for _ in range(4)]

    assert [answer.status for answer in answers] == [403, 403, 403, 429]
    assert answers[-1].headers["Retry-After"] == "100"
