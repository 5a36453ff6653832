"""Server-sent events: open pages hear that the alert list has changed.

The event carries no data about anybody; the page then asks for its own list again.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import aclosing

from aiohttp import web

from fadewatch_collector.usecases.alert_news import AlertNews
from fadewatch_collector.web.keys import NEWS, SERVICES

LIVE = "/live"

PAUSE_S = 20.0
"""Silence after which a line is sent so that nothing between closes it [s]."""

LONGEST_S = 600.0
"""After this a browser has to ask anew, and show that it is still signed in [s]."""

_HELLO = b"retry: 5000\nevent: hello\ndata: 1\n\n"
_CHANGED = b"event: alerts\ndata: 1\n\n"
_STILL_THERE = b":\n\n"


async def listen(request: web.Request) -> web.StreamResponse:
    """Send an event at each change of the alert list."""
    desk = request.app[NEWS]
    answer = web.StreamResponse(
        headers={"Content-Type": "text/event-stream", "X-Accel-Buffering": "no"}
    )
    with desk.place():
        try:
            async with (
                asyncio.timeout(LONGEST_S),
                aclosing(desk.listen(PAUSE_S)) as news,
            ):
                await answer.prepare(request)
                await answer.write(_HELLO)
                async for has_changed in news:
                    await answer.write(_CHANGED if has_changed else _STILL_THERE)
        except (TimeoutError, ConnectionError):
            # The browser asks again by itself, or has gone.
            return answer
    return answer


async def news_desk(app: web.Application) -> AsyncIterator[None]:
    """Run what the open pages listen to, as long as the application runs."""
    news = app[NEWS] = AlertNews(app[SERVICES])
    looking = asyncio.create_task(news.run(), name="alert-news")
    yield
    looking.cancel()
    await asyncio.gather(looking, return_exceptions=True)


async def let_go(app: web.Application) -> None:
    """End the open streams before the service waits for requests to end."""
    await app[NEWS].close()
