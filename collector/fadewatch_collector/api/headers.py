"""Headers of the API's answers, and the answer to the one that asks before the body."""

from http import HTTPStatus

from aiohttp import HttpVersion11, web

from fadewatch_collector.api.problems import problem_response
from fadewatch_collector.edge.asked import is_https
from fadewatch_collector.edge.request_ids import HEADER, request_id

_ALWAYS = {
    "X-Content-Type-Options": "nosniff",
    # For a browser that is led to an answer of the API: it shows it, and nothing more.
    "Content-Security-Policy": "default-src 'none'; object-src 'none'; "
    "base-uri 'none'; frame-ancestors 'none'",
}

_HSTS = "max-age=31536000; includeSubDomains"
"""As on the pages: OWASP ASVS 5.0 3.4.1."""


async def add_headers(request: web.Request, response: web.StreamResponse) -> None:
    """Put the id on an answer, and keep caches and guessing of types away from it."""
    response.headers.setdefault("Cache-Control", "no-store")
    response.headers.update(_ALWAYS)
    response.headers[HEADER] = request_id(request)
    if is_https(request):
        response.headers["Strict-Transport-Security"] = _HSTS


async def unexpected(request: web.Request) -> web.StreamResponse | None:
    """Answer the Expect header before the body comes; None: let it come."""
    if request.version < HttpVersion11:
        return None
    if request.headers.get("Expect", "").lower() != "100-continue":
        return problem_response(request, HTTPStatus.EXPECTATION_FAILED)
    await request.writer.write(b"HTTP/1.1 100 Continue\r\n\r\n")
    # What was written is no part of the answer, which has not begun yet.
    request.writer.output_size = 0
    return None
