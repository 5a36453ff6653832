"""Who may call what: every route of the table, with every kind of caller."""

import re
from collections.abc import AsyncIterator
from typing import Any, Literal, get_args

import pytest

from fadewatch_collector.api.route import Route
from fadewatch_collector.api.routes import ROUTES
from fadewatch_collector.rules.operators import ROLES, Role, at_least
from fadewatch_collector.usecases.services import Services
from tests.integration.api_service import PROBLEM_TYPE, ApiService, running_api

Caller = Literal["nobody", "agent", "viewer", "technician", "administrator"]
CALLERS: tuple[Caller, ...] = get_args(Caller)


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


def expected(route: Route, caller: Caller) -> int | None:
    """Return the status that keeps a caller out; None lets them in."""
    if route.caller == "anyone":
        return None
    if caller == "nobody" or (route.caller == "agent") != (caller == "agent"):
        return 401
    if route.caller == "operator" and not at_least(as_role(caller), route.role):
        return 403
    return None


def as_role(caller: Caller) -> Role:
    (role,) = (role for role in ROLES if role == caller)
    return role


async def secret_of(api: ApiService, caller: Caller) -> str | None:
    if caller == "nobody":
        return None
    return await (
        api.enrol() if caller == "agent" else api.api_token(as_role(caller), "someone")
    )


@pytest.mark.parametrize("caller", CALLERS)
async def test_every_route_lets_in_whom_it_says_and_nobody_else(
    api: ApiService, caller: Caller
) -> None:
    secret = await secret_of(api, caller)
    wrong = []
    for route in ROUTES:
        # Nothing has this number, and the body is none: what gets in changes nothing.
        path = re.sub(r"{\w+}", "999", route.path)
        body: dict[str, Any] = {} if route.method == "GET" else {"json": {}}
        answer = await api.ask(route.method, path, secret, **body)
        kept_out = answer.status if answer.status in {401, 403} else None
        if kept_out != expected(route, caller):
            wrong.append(f"{route.name}: {answer.status}")
        if kept_out is not None:
            assert answer.headers["Content-Type"].startswith(PROBLEM_TYPE)

    assert wrong == []


async def test_who_may_not_is_told_which_role_it_takes(api: ApiService) -> None:
    token = await api.api_token("technician")

    answer = await api.ask("GET", "/operators", token)

    assert answer.status == 403
    assert "administrator" in answer.json["detail"]


async def test_a_role_is_asked_for_before_the_body_is_looked_at(
    api: ApiService,
) -> None:
    token = await api.api_token("viewer")

    answer = await api.ask("POST", "/alerts/1/end", token, data=b"\xff" * 100_000)

    assert answer.status == 403
