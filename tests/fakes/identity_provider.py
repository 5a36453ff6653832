"""An identity provider that says whatever a test has it say."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

from aiohttp import web
from aiohttp.test_utils import BaseTestServer, TestServer


@dataclass(slots=True)
class LyingProvider:
    """Answers each path with what stands in ``says``; a response is sent as it is."""

    server: BaseTestServer
    says: dict[str, Any] = field(default_factory=dict)
    asked: list[tuple[str, str]] = field(default_factory=list)

    @property
    def issuer(self) -> str:
        return str(self.server.make_url("/")).rstrip("/")

    def metadata(self, **changes: Any) -> None:
        """Say of itself what a provider does, with some changes."""
        whole = {
            "issuer": self.issuer,
            "authorization_endpoint": self.issuer + "/authorize",
            "token_endpoint": self.issuer + "/token",
            "jwks_uri": self.issuer + "/keys",
            "userinfo_endpoint": self.issuer + "/userinfo",
        }
        self.says["/.well-known/openid-configuration"] = whole | changes


@asynccontextmanager
async def lying_provider() -> AsyncIterator[LyingProvider]:
    """Run it on a free port."""

    async def answer(request: web.Request) -> web.StreamResponse:
        body = (await request.read()).decode()
        provider.asked.append((request.path, body))
        said = provider.says.get(request.path)
        if said is None:
            raise web.HTTPNotFound
        return said() if callable(said) else web.json_response(said)

    app = web.Application()
    app.router.add_route("*", "/{path:.*}", answer)
    async with TestServer(app, host="127.0.0.1") as server:
        provider = LyingProvider(server)
        provider.metadata()
        yield provider
