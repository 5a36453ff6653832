"""One log line a request, without what must not be logged."""

from aiohttp import web
from aiohttp.abc import AbstractAccessLogger

from fadewatch_collector.edge.meters import METERS
from fadewatch_collector.edge.request_ids import request_id


class AccessLine(AbstractAccessLogger):
    """Logs method, route, status, size and time; never addresses with secrets.

    The route's pattern is logged and not the path: a path may hold a one-time link,
    a query a name.
    """

    def log(
        self, request: web.BaseRequest, response: web.StreamResponse, time: float
    ) -> None:
        """Log one request, and count it."""
        _count(request, response, time)
        self.logger.info(
            "%s %s %d %d bytes %.1f ms",
            request.method,
            _route(request) or "(no such page)",
            response.status,
            response.body_length,
            1000 * time,
            extra={"request_id": _id(request)},
        )


def _count(request: web.BaseRequest, response: web.StreamResponse, time: float) -> None:
    # A request that could not be read belongs to no application.
    meters = (
        request.config_dict.get(METERS) if isinstance(request, web.Request) else None
    )
    if meters is not None:
        stays_open = response.content_type == "text/event-stream"
        route = _route(request)
        took = None if stays_open else time
        meters.answered(request.method, route, response.status, took)


def _id(request: web.BaseRequest) -> str:
    return request_id(request) if isinstance(request, web.Request) else ""


def _route(request: web.BaseRequest) -> str | None:
    if isinstance(request, web.Request):
        resource = request.match_info.route.resource
        if resource is not None:
            return resource.canonical
    return None
