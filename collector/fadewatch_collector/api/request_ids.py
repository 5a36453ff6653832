"""One id for each request, in the answer and in the log."""

import re
import secrets

from aiohttp import web

from fadewatch_collector.api.keys import REQUEST_ID

HEADER = "X-Request-Id"

_USABLE = re.compile(r"[A-Za-z0-9._-]{1,64}", re.ASCII)


def request_id(request: web.Request) -> str:
    """Return the caller's own id when it is short and plain, or else a new one."""
    if REQUEST_ID in request:
        return request[REQUEST_ID]
    sent = request.headers.get(HEADER, "")
    chosen = sent if _USABLE.fullmatch(sent) else secrets.token_hex(8)
    request[REQUEST_ID] = chosen
    return chosen


async def add_headers(request: web.Request, response: web.StreamResponse) -> None:
    """Put the id on an answer, and keep caches and guessing of types away from it."""
    response.headers[HEADER] = request_id(request)
    response.headers.setdefault("Cache-Control", "no-store")
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
