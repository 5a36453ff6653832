"""GET /openapi.json: the description of this API."""

from aiohttp import web

from fadewatch_collector.api.keys import DESCRIPTION


async def show_description(request: web.Request) -> web.Response:
    """Answer with the OpenAPI description, made once at the start."""
    return web.Response(
        body=request.app[DESCRIPTION], content_type="application/json", charset="utf-8"
    )
