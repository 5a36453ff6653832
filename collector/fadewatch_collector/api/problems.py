"""Errors as RFC 9457 problem details: one place maps an error to its answer."""

import json
import logging
import math
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from http import HTTPStatus

from aiohttp import web

from fadewatch_collector.edge.request_ids import request_id
from fadewatch_collector.errors import (
    ChangedMeanwhile,
    CollectorError,
    Conflict,
    InvalidRequest,
    NotAllowed,
    NotFound,
    NotSignedIn,
    QueueFull,
    StoreError,
    TokenRefused,
    TooManyAttempts,
)

PROBLEM_TYPE = "application/problem+json"
BUSY_STORE_RETRY_S = 10.0
"""What a caller is asked to wait when the store does not answer [s]. Own choice."""

log = logging.getLogger(__name__)

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]

_STATUS_OF: tuple[tuple[type[CollectorError], HTTPStatus], ...] = (
    (InvalidRequest, HTTPStatus.BAD_REQUEST),
    (NotSignedIn, HTTPStatus.UNAUTHORIZED),
    (TokenRefused, HTTPStatus.FORBIDDEN),
    (NotAllowed, HTTPStatus.FORBIDDEN),
    (NotFound, HTTPStatus.NOT_FOUND),
    (Conflict, HTTPStatus.CONFLICT),
    (TooManyAttempts, HTTPStatus.TOO_MANY_REQUESTS),
    (QueueFull, HTTPStatus.SERVICE_UNAVAILABLE),
    (StoreError, HTTPStatus.SERVICE_UNAVAILABLE),
)

_WORDS = {
    HTTPStatus.NOT_FOUND: "there is nothing at this address",
    HTTPStatus.INTERNAL_SERVER_ERROR: "the collector failed; its log says why, "
    "under this request_id",
}


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a request was not answered as asked (RFC 9457).

    Attributes
    ----------
    request_id
        The same as in the answer's ``X-Request-Id`` and in the collector's log.
    changed_by, changed_at
        Of a conflict (409): who was first, and when. Left out when nobody was, and
        ``changed_by`` also when it was the collector itself.
    """

    type: str
    title: str
    status: int
    detail: str
    request_id: str
    changed_by: str | None = None
    changed_at: datetime | None = None


class Refused(CollectorError, ValueError):
    """A request that HTTP has a status of its own for."""

    def __init__(
        self, status: HTTPStatus, why: str, headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(why)
        self.status = status
        self.headers = headers or {}


@web.middleware
async def problems(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Answer every error of the API with a problem; never with its traceback."""
    try:
        return await handler(request)
    except web.HTTPException as error:
        return _of_http(request, error)
    except CollectorError as error:
        return _of_collector(request, error)
    except Exception:
        log.exception("request %s failed", request_id(request))
        return problem_response(request, HTTPStatus.INTERNAL_SERVER_ERROR)


def problem_response(
    request: web.Request,
    status: HTTPStatus,
    detail: str | None = None,
    headers: Mapping[str, str] | None = None,
    *,
    changed: ChangedMeanwhile | None = None,
) -> web.Response:
    """Return a problem as the answer to a request."""
    words = detail or _WORDS.get(status) or status.description or status.phrase
    problem = Problem(
        type="about:blank",
        title=status.phrase,
        status=status,
        detail=words,
        request_id=request_id(request),
        changed_by=changed.who if changed else None,
        changed_at=changed.when if changed else None,
    )
    return web.Response(
        status=status,
        headers=headers,
        content_type=PROBLEM_TYPE,
        text=json.dumps(_told(problem), default=_moment),
    )


def _told(problem: Problem) -> dict[str, object]:
    return {name: v for name, v in asdict(problem).items() if v is not None}


def _moment(value: datetime) -> str:
    return value.isoformat().replace("+00:00", "Z")


def _of_http(request: web.Request, error: web.HTTPException) -> web.Response:
    status = HTTPStatus(error.status)
    headers, detail = {}, None
    if isinstance(error, web.HTTPMethodNotAllowed):
        allowed = ", ".join(sorted(error.allowed_methods))
        headers, detail = {"Allow": allowed}, f"this address takes {allowed}"
    return problem_response(request, status, detail, headers)


def _of_collector(request: web.Request, error: CollectorError) -> web.Response:
    if isinstance(error, Refused):
        return problem_response(request, error.status, str(error), error.headers)
    changed = error if isinstance(error, ChangedMeanwhile) else None
    for kind, status in _STATUS_OF:
        if isinstance(error, kind):
            return problem_response(
                request, status, str(error), _headers_of(error), changed=changed
            )
    log.error("request %s failed", request_id(request), exc_info=error)
    return problem_response(request, HTTPStatus.INTERNAL_SERVER_ERROR)


def _headers_of(error: CollectorError) -> dict[str, str]:
    if isinstance(error, NotSignedIn):
        return {"WWW-Authenticate": 'Bearer realm="fadewatch"'}
    if isinstance(error, (TooManyAttempts, QueueFull)):
        return {"Retry-After": str(max(1, math.ceil(error.retry_after_s)))}
    if isinstance(error, StoreError):
        return {"Retry-After": str(math.ceil(BUSY_STORE_RETRY_S))}
    return {}
