"""The API on a real port with a real store, and what a test needs to talk to it."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from aiohttp import ClientResponse, web
from aiohttp.test_utils import TestClient, TestServer
from multidict import CIMultiDictProxy

from fadewatch_collector.api.keys import IntakePort
from fadewatch_collector.api.setup import (
    DEFAULT_LIMITS,
    HANDLER_ARGS,
    PREFIX,
    Limits,
    add_api,
    add_health,
)
from fadewatch_collector.edge.setup import add_edge
from fadewatch_collector.rules.operators import Role
from fadewatch_collector.usecases.accounts import add_operator
from fadewatch_collector.usecases.api_tokens import make_api_token
from fadewatch_collector.usecases.enrolment import enrol, make_token
from fadewatch_collector.usecases.intake import Intake
from fadewatch_collector.usecases.services import Services
from fadewatch_common.report import Laptop
from tests.reports import AGENT, LAPTOP

PASSWORD = "long quiet river stones"  # noqa: S105  of a test's operator
PROBLEM_TYPE = "application/problem+json"


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer that was read whole."""

    status: int
    headers: CIMultiDictProxy[str]
    body: bytes
    json: Any


@dataclass(frozen=True, slots=True)
class ApiService:
    """A running API."""

    client: TestClient[web.Request, web.Application]
    services: Services
    app: web.Application

    async def enrol(self, laptop: Laptop = LAPTOP) -> str:
        """Enrol a laptop and return its key."""
        token = await self.token()
        return (await enrol(self.services, token, laptop, AGENT)).key

    async def token(self, *, uses: int = 1) -> str:
        """Make an enrolment token."""
        return await make_token(
            self.services,
            label="test",
            site="Harbour",
            lifetime=timedelta(days=1),
            use_limit=uses,
            who="test",
        )

    async def api_token(
        self, role: Role = "viewer", name: str | None = None, days: int = 1
    ) -> str:
        """Make the API token of a new operator, named as the role if not told."""
        name = name or role
        await add_operator(self.services, name, role, PASSWORD)
        return await make_api_token(self.services, name, "test", days)

    async def ask(
        self, method: str, path: str, secret: str | None = None, **more: Any
    ) -> Answer:
        """Send a request below the API's address and read the answer."""
        headers = dict(more.pop("headers", {}))
        if secret is not None:
            headers["Authorization"] = f"Bearer {secret}"
        async with self.client.request(
            method, PREFIX + path, headers=headers, **more
        ) as response:
            return await _read(response)


async def _read(response: ClientResponse) -> Answer:
    body = await response.read()
    is_json = response.content_type.endswith("json")
    return Answer(
        response.status,
        response.headers,
        body,
        await response.json(content_type=None) if is_json else None,
    )


@asynccontextmanager
async def running_api(
    services: Services,
    limits: Limits = DEFAULT_LIMITS,
    intake: IntakePort | None = None,
) -> AsyncIterator[ApiService]:
    """Run the API, with the real intake behind it unless another is given."""
    writer = Intake(services, lambda: None)
    root = web.Application(handler_args=HANDLER_ARGS)
    add_edge(root, services.settings)
    add_health(root, services)
    app = add_api(root, services, intake or writer, limits)
    async with asyncio.TaskGroup() as group:
        group.create_task(writer.run())
        async with TestClient(TestServer(root)) as client:
            yield ApiService(client, services, app)
        writer.close()
