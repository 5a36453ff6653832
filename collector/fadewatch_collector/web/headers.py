"""Headers that every page carries."""

from aiohttp import web

from fadewatch_collector.edge.request_ids import HEADER, request_id
from fadewatch_collector.web.scope import is_for_pages, is_over_https

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "object-src 'none'",
        "style-src 'self'",
        "script-src 'self'",
        "connect-src 'self'",
        "img-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""Nothing from elsewhere; scripts and styles only from our own static files."""

_ALWAYS = {
    "Server": "fadewatch",
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

_HSTS = "max-age=31536000; includeSubDomains"
"""A year and the names below, as OWASP ASVS 5.0 3.4.1 asks for."""


async def add_headers(request: web.Request, response: web.StreamResponse) -> None:
    """Add the headers to whatever is about to be sent to a browser."""
    if not is_for_pages(request):
        return
    response.headers.update(_ALWAYS)
    response.headers[HEADER] = request_id(request)
    response.headers.setdefault("Cache-Control", "no-store")
    # Other sites learn no address. "no-referrer" would also blank the Origin of our
    # own forms, and with it the check that a form was sent from our own page.
    response.headers.setdefault("Referrer-Policy", "same-origin")
    if is_over_https(request):
        response.headers["Strict-Transport-Security"] = _HSTS
