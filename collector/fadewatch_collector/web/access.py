"""One log line a request, without what must not be logged."""

import logging
from http import HTTPStatus

from aiohttp import web
from aiohttp.abc import AbstractAccessLogger

from fadewatch_collector.edge.meters import METERS
from fadewatch_collector.edge.request_ids import REQUEST_ID

REPORTS = "/api/v1/reports"
"""Where agents deliver. What they delivered is counted, and told once a minute: a line
for each would be most of the log, and a sixth of the work of taking a report."""


class AccessLine(AbstractAccessLogger):
    """Logs method, route, status, size and time; never addresses with secrets.

    The route's pattern is logged and not the path: a path may hold a one-time link,
    a query a name.
    """

    def log(
        self, request: web.BaseRequest, response: web.StreamResponse, time: float
    ) -> None:
        """Log one request, and count it."""
        # What could not be read as a request was given to no application, and has no
        # number: its method may be anything too.
        if not isinstance(request, web.Request) or request.get(REQUEST_ID) is None:
            self.logger.info("what is no request was answered %d", response.status)
            return
        route = _route(request)
        _count(request, route, response, time)
        delivered = response.status == HTTPStatus.OK and route == REPORTS
        level = logging.DEBUG if delivered else logging.INFO
        if not self.logger.isEnabledFor(level):
            return
        self.logger.log(
            level,
            "%s %s %d %d bytes %.1f ms",
            request.method,
            route or "(no such page)",
            response.status,
            response.body_length,
            1000 * time,
            extra={"request_id": request[REQUEST_ID]},
        )


def _count(
    request: web.Request, route: str | None, response: web.StreamResponse, time: float
) -> None:
    meters = request.match_info.apps[0].get(METERS)
    if meters is not None:
        # An answer that is whole when it begins is not looked into.
        is_whole = isinstance(response, web.Response)
        stays_open = not is_whole and response.content_type == "text/event-stream"
        took = None if stays_open else time
        meters.answered(request.method, route, response.status, took)


def _route(request: web.Request) -> str | None:
    resource = request.match_info.route.resource
    return None if resource is None else resource.canonical
