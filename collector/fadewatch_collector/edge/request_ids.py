"""One id for each request: in the answer, in a problem, and on its log lines."""

import re
from random import getrandbits

from aiohttp import web
from aiohttp.typedefs import Handler

from fadewatch_collector.edge.asked import asked
from fadewatch_collector.edge.current import REQUEST

HEADER = "X-Request-Id"

REQUEST_ID = web.RequestKey("REQUEST_ID", str)

_USABLE = re.compile(r"[A-Za-z0-9._-]{8,64}", re.ASCII)


def request_id(request: web.Request) -> str:
    """Return a trusted proxy's own id when it is short and plain, or else a new one."""
    known: str | None = request.get(REQUEST_ID)
    if known is None:
        sent = request.headers.get(HEADER, "")
        is_usable = _USABLE.fullmatch(sent) is not None and asked(request).by_proxy
        # It tells requests apart and opens nothing.
        known = sent if is_usable else f"{getrandbits(64):016x}"
        request[REQUEST_ID] = known
    return known


@web.middleware
async def name_request(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Put the id on whatever is logged while the request is worked on."""
    REQUEST.set(request_id(request))
    return await handler(request)
