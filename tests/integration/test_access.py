"""Every route by every sort of caller, on the whole application over a real port."""

import json
import re
from collections import Counter
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from aiohttp import ClientResponse, DummyCookieJar, web
from aiohttp.test_utils import TestClient, TestServer
from sqlalchemy import select, update

from fadewatch_collector.app import make_app
from fadewatch_collector.rules.operators import ROLES, Operator
from fadewatch_collector.store import tables
from fadewatch_collector.store.accounts import add_operator
from fadewatch_collector.usecases import accounts
from fadewatch_collector.usecases.agent_keys import revoke_key
from fadewatch_collector.usecases.enrolment import enrol, make_token
from fadewatch_collector.usecases.inspections import ask_holder
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.web.keys import SIGNING, STATIC
from fadewatch_common.encoding import to_json
from fadewatch_common.report import Laptop
from tests.access.table import CALLERS, OUTCOMES, ROUTES
from tests.reports import AGENT, make_report

# Every route is called as every role, some hundred times: who may do what is decided
# before the store is asked, so one database tells it.

COOKIE = "fadewatch-session"
THERE, NOWHERE = "1", "999999"
"""A laptop that exists, and a number that nothing has."""

PRYING = frozenset({"nobody", "viewer", "viewer's token", "own key"})
"""Callers who may want to know what there is: one of each sort."""

ENDS_SESSIONS = re.compile(r"/sign-out|/sign-everybody-out|/account/")
STREAM = "text/event-stream"

Key = tuple[str, str]


def kinds() -> dict[Key, str]:
    lines = [line.split() for line in ROUTES.split("\n") if line]
    return {(method, path): kind for kind, method, path in lines}


def outcomes() -> dict[str, tuple[str, ...]]:
    lines = [line.split() for line in OUTCOMES.strip().split("\n")[2:]]
    return {kind: tuple(cells) for kind, *cells in lines}


def routes_of(app: web.Application) -> set[Key]:
    """Return what the routers of the application and of its parts really hold."""
    found = set()
    for resource in app.router.resources():
        if isinstance(resource, web.PrefixedSubAppResource):
            found |= routes_of(resource._app)
        else:
            found |= {(route.method, resource.canonical) for route in resource}
    return found


@dataclass(frozen=True, slots=True)
class Caller:
    """What one caller brings."""

    session: str | None = None
    bearer: str | None = None
    body_token: str | None = None
    link: str = "fwi_unknown"


@dataclass(frozen=True, slots=True)
class Reached:
    """What came of a request: the outcome, and what was said."""

    outcome: str
    status: int
    content_type: str
    body: bytes


@dataclass(frozen=True, slots=True)
class World:
    """The whole application, and everybody who calls it."""

    services: Services
    client: TestClient[web.Request, web.Application]
    operators: Mapping[str, Operator]
    callers: dict[str, Caller]

    @property
    def app(self) -> web.Application:
        server = self.client.server
        assert isinstance(server, TestServer)
        return server.app

    async def ask(
        self, name: str, method: str, route: str, number: str = NOWHERE
    ) -> Reached:
        """Ask for a route as a caller does."""
        caller = self.callers[name]
        path = route.replace("{token}", caller.link).replace("{answer}", "none")
        path = path.replace("/static/{name}", self.app[STATIC].path_of("site.css"))
        path = re.sub(r"\{\w+\}", number, path)
        headers, signing = {}, self.app[SIGNING]
        if caller.session is not None:
            sealed = signing.sealed(f"session:{caller.session}")
            headers["Cookie"] = f"{COOKIE}={sealed}"
        if caller.bearer is not None:
            headers["Authorization"] = f"Bearer {caller.bearer}"
        body: dict[str, Any] = {}
        if method in {"POST", "PUT"}:
            body = self._body(name, caller, route)
        async with self.client.request(
            method, path, headers=headers, allow_redirects=False, **body
        ) as answer:
            return await reached(answer)

    def _body(self, name: str, caller: Caller, route: str) -> dict[str, Any]:
        if route == "/api/v1/reports":
            return {"json": {"reports": [json.loads(to_json(make_report()))]}}
        if route.startswith("/api/"):
            return {"json": enrolment(caller.body_token) if caller.body_token else {}}
        # The form's own token is right: only the caller can be what is wrong.
        is_live = name in ROLES or not route.startswith("/inspect/")
        bound_to = (caller.session if is_live else None) or caller.link
        form = {"form_token": self.app[SIGNING].form_token(bound_to)}
        return {"data": form | ({"name": name} if route == "/sign-in" else {})}

    async def renew(self) -> None:
        """Sign those in again whom their own doings have signed out."""
        for role in ROLES:
            session = await accounts.open_session(self.services, self.operators[role])
            self.callers[role] = Caller(session=session)


def enrolment(token: str) -> dict[str, Any]:
    agent = {"version": "1", "platform": "linux"}
    return {"token": token, "laptop": {"serial": "BM-9"}, "agent": agent}


async def reached(answer: ClientResponse) -> Reached:
    location = answer.headers.get("Location", "")
    outcome = "in"
    if answer.status in {400, 401, 403, 404}:
        outcome = str(answer.status)
    elif location.partition("?")[0] == "/sign-in":
        outcome = "door"
    body = b"" if answer.content_type == STREAM else await answer.read()
    return Reached(outcome, answer.status, answer.content_type, body)


@pytest.fixture
async def world(services: Services) -> AsyncIterator[World]:
    server = TestServer(make_app(services), host="127.0.0.1")
    # Callers bring their own cookies and nobody else's.
    async with TestClient(server, cookie_jar=DummyCookieJar()) as client:
        yield await populated(services, client)


async def populated(
    services: Services, client: TestClient[web.Request, web.Application]
) -> World:
    names = (*ROLES, "expired", "idle", "out", "disabled", "tokens")
    async with services.store.writing() as connection:
        operators = {
            name: await add_operator(
                connection,
                name,
                next((role for role in ROLES if role == name), "administrator"),
                "no password",
                services.clock(),
            )
            for name in names
        }
    world = World(services, client, operators, {})
    await world.renew()
    world.callers["nobody"] = Caller()
    for role in ROLES:
        token = await accounts.make_api_token(services, role, "script", 1)
        world.callers[f"{role}'s token"] = Caller(bearer=token)
    await end_sessions(world)
    await end_tokens(world)
    await add_laptops(world)
    return world


async def end_sessions(world: World) -> None:
    services, operators = world.services, world.operators
    sessions = {
        name: await accounts.open_session(services, operators[name])
        for name in ("expired", "idle", "out", "disabled")
    }
    long_ago = services.clock() - timedelta(days=1)
    column = tables.operator_sessions.c
    async with services.store.writing() as connection:
        for name, change in (
            ("expired", {"expires_at": long_ago}),
            ("idle", {"used_at": long_ago, "created_at": long_ago}),
        ):
            await connection.execute(
                update(tables.operator_sessions)
                .where(column.operator_id == operators[name].id)
                .values(change)
            )
    await accounts.close_session(services, sessions["out"])
    await accounts.disable_operator(services, "disabled")
    for name, caller in (
        ("expired", "expired session"),
        ("idle", "idle session"),
        ("out", "signed-out session"),
        ("disabled", "disabled account"),
    ):
        world.callers[caller] = Caller(session=sessions[name])


async def end_tokens(world: World) -> None:
    services = world.services
    for caller in ("revoked API token", "expired API token"):
        token = await accounts.make_api_token(services, "tokens", caller, 1)
        world.callers[caller] = Caller(bearer=token)
    expired, revoked = (await accounts.list_api_tokens(services))[:2]
    await accounts.revoke_api_token(services, revoked.id)
    async with services.store.writing() as connection:
        await connection.execute(
            update(tables.api_tokens)
            .where(tables.api_tokens.c.id == expired.id)
            .values(expires_at=services.clock())
        )


async def add_laptops(world: World) -> None:
    services = world.services
    token = await make_token(
        services, label="spent", site=None, lifetime=timedelta(days=1), use_limit=3,
        who="test",
    )  # fmt: skip
    keys = [
        (await enrol(services, token, Laptop(serial=f"BM-{number}"), AGENT)).key
        for number in range(3)
    ]
    for caller, key in zip(
        ("own key", "another laptop's key", "revoked key"), keys, strict=True
    ):
        world.callers[caller] = Caller(bearer=key)
    # The collector has seen the key before it is revoked.
    assert (await world.ask("revoked key", "POST", "/api/v1/reports")).status == 200
    await revoke_key(services, 3, "test")
    world.callers["spent enrolment token"] = Caller(body_token=token)
    link = await ask_holder(services, 1, world.operators["technician"])
    world.callers["inspection link"] = Caller(link=link)


def test_the_table_names_every_route_and_no_other(services: Services) -> None:
    real = {key for key in routes_of(make_app(services)) if key[0] != "HEAD"}

    assert real == set(kinds())


def test_the_table_has_a_cell_for_every_caller() -> None:
    cells = outcomes()

    assert set(kinds().values()) == set(cells)
    assert {len(row) for row in cells.values()} == {len(CALLERS)}


@pytest.mark.timeout(240)
async def test_every_route_lets_in_whom_the_table_says_and_nobody_else(
    world: World, record_property: Any
) -> None:
    cells, wrong, count = outcomes(), [], 0
    for (method, route), kind in kinds().items():
        for caller, wanted in zip(CALLERS, cells[kind], strict=True):
            got = await world.ask(caller, method, route)
            count += 1
            if not is_as(got, wanted, is_api=route.startswith("/api/")):
                wrong.append(
                    f"{method} {route} by {caller}: {got.status}, not {wanted}"
                )
        if ENDS_SESSIONS.search(route):
            await world.renew()
    record_property("routes x callers", count)

    assert not wrong, "\n".join(wrong)
    assert count == len(kinds()) * len(CALLERS)


def is_as(got: Reached, wanted: str, *, is_api: bool) -> bool:
    """Say whether what came is what the table says, in the form that it should have."""
    if wanted == "in":
        # 400 and 404 are a route's own answers to an empty body and to no such thing.
        return got.outcome in {"in", "400", "404"} and got.status not in {429, 500, 503}
    if wanted == "door":
        return got.outcome == "door"
    shape = "application/problem+json" if is_api else "text/html"
    return got.outcome == wanted and got.content_type == shape


@pytest.mark.timeout(120)
async def test_who_is_kept_out_does_not_learn_what_there_is(world: World) -> None:
    told = []
    for (method, route), kind in kinds().items():
        if "_id}" not in route:
            continue
        for caller, wanted in zip(CALLERS, outcomes()[kind], strict=True):
            if caller in PRYING and wanted in {"401", "403"}:
                there = await world.ask(caller, method, route, THERE)
                nowhere = await world.ask(caller, method, route, NOWHERE)
                if without_id(there) != without_id(nowhere):
                    told.append(f"{method} {route} by {caller}")

    assert told == []


def without_id(got: Reached) -> tuple[int, bytes]:
    body = re.sub(rb'("request_id": ?")[^"]*|(Request )[0-9a-f]+', rb"\1\2", got.body)
    return got.status, re.sub(rb'(form_token" value=")[^"]*', rb"\1", body)


async def test_asking_for_the_head_lets_nobody_in_either(world: World) -> None:
    keys = {key for key in routes_of(world.app) if key[0] == "HEAD"}
    kept_out = {
        path
        for (method, path), kind in kinds().items()
        if method == "GET" and outcomes()[kind][0] != "in"
    }
    for _, path in sorted(keys):
        got = await world.ask("nobody", "HEAD", path)
        assert (got.outcome == "in") is (path not in kept_out), path


async def test_a_laptops_key_reaches_that_laptop_alone(world: World) -> None:
    async def laptops_heard() -> Counter[int]:
        async with world.services.store.reading() as connection:
            return Counter(await connection.scalars(select(tables.reports.c.laptop_id)))

    for key, laptop in (("own key", 1), ("another laptop's key", 2)):
        before = await laptops_heard()
        assert (await world.ask(key, "POST", "/api/v1/reports")).status == 200
        assert await laptops_heard() - before == {laptop: 1}


async def test_who_may_not_is_told_which_role_it_takes(world: World) -> None:
    got = await world.ask("technician's token", "GET", "/api/v1/operators")

    assert got.status == 403
    assert b"administrator" in got.body


async def test_a_role_is_asked_for_before_the_body_is_looked_at(world: World) -> None:
    secret = world.callers["viewer's token"].bearer
    async with world.client.post(
        "/api/v1/alerts/1/end",
        data=b"\xff" * 100_000,
        headers={"Authorization": f"Bearer {secret}"},
    ) as answer:
        assert answer.status == 403
