"""One log line a request, without what must not be logged."""

from aiohttp import web
from aiohttp.abc import AbstractAccessLogger

from fadewatch_collector.edge.request_ids import request_id


class AccessLine(AbstractAccessLogger):
    """Logs method, route, status, size and time; never addresses with secrets.

    The route's pattern is logged and not the path: a path may hold a one-time link,
    a query a name.
    """

    def log(
        self, request: web.BaseRequest, response: web.StreamResponse, time: float
    ) -> None:
        """Log one request."""
        self.logger.info(
            "%s %s %d %d bytes %.1f ms",
            request.method,
            _route(request),
            response.status,
            response.body_length,
            1000 * time,
            extra={"request_id": _id(request)},
        )


def _id(request: web.BaseRequest) -> str:
    return request_id(request) if isinstance(request, web.Request) else ""


def _route(request: web.BaseRequest) -> str:
    if isinstance(request, web.Request):
        resource = request.match_info.route.resource
        if resource is not None:
            return resource.canonical
    return "(no such page)"
