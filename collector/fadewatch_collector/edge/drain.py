"""The end of a service: say first that it ends, and stop a little later."""

import asyncio

from aiohttp import web


class Drain:
    """Whether the service has begun to stop."""

    def __init__(self) -> None:
        self.has_begun = False

    async def begin(self, seconds: float, hurry: asyncio.Event) -> None:
        """Say 'not ready' from now on, and give load balancers time to see it."""
        self.has_begun = True
        try:
            async with asyncio.timeout(seconds):
                await hurry.wait()
        except TimeoutError:
            return

    async def close_connection(
        self, request: web.Request, response: web.StreamResponse
    ) -> None:
        """Let a connection that would be kept open end with this answer."""
        del request
        if self.has_begun:
            response.force_close()
            response.headers["Connection"] = "close"
