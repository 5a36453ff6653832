"""A real HTTP server on loopback that keeps what was posted to it."""

import json
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

from aiohttp import web
from aiohttp.test_utils import TestServer


@dataclass(frozen=True, slots=True)
class Posted:
    """One request."""

    path: str
    headers: dict[str, str]
    body: bytes

    @property
    def plain(self) -> dict[str, Any]:
        unpacked: dict[str, Any] = json.loads(self.body)
        return unpacked


@dataclass(slots=True)
class ReceiverFake:
    """What the receiver is told, and what it got."""

    url: str = ""
    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    posted: list[Posted] = field(default_factory=list)

    async def answer(self, request: web.Request) -> web.Response:
        body = await request.read()
        self.posted.append(Posted(request.path, dict(request.headers), body))
        return web.Response(status=self.status, headers=self.headers)


@asynccontextmanager
async def webhook_receiver(
    context: ssl.SSLContext | None = None,
) -> AsyncIterator[ReceiverFake]:
    """Run a receiver on a free port of 127.0.0.1 while in the block."""
    fake = ReceiverFake()
    app = web.Application()
    app.router.add_route("*", "/{path:.*}", fake.answer)
    server = TestServer(app, host="127.0.0.1")
    await server.start_server(ssl=context)
    fake.url = f"{'https' if context else 'http'}://127.0.0.1:{server.port}/told"
    try:
        yield fake
    finally:
        await server.close()
