"""What a person sees when a page cannot be given."""

import logging
import math
from http import HTTPStatus

from aiohttp import web
from aiohttp.typedefs import Handler

from fadewatch_collector.edge.request_ids import request_id
from fadewatch_collector.errors import (
    Conflict,
    InvalidRequest,
    NotAllowed,
    NotFound,
    NotSignedIn,
    ProviderTrouble,
    QueueFull,
    TooManyAttempts,
)
from fadewatch_collector.web.render import page
from fadewatch_common.errors import FadewatchError

_log = logging.getLogger(__name__)

_STATUSES: tuple[tuple[type[FadewatchError], HTTPStatus], ...] = (
    (NotFound, HTTPStatus.NOT_FOUND),
    # 401 would promise a WWW-Authenticate header, which pages with a form do not use.
    (NotSignedIn, HTTPStatus.FORBIDDEN),
    (NotAllowed, HTTPStatus.FORBIDDEN),
    (TooManyAttempts, HTTPStatus.TOO_MANY_REQUESTS),
    (ProviderTrouble, HTTPStatus.SERVICE_UNAVAILABLE),
    (QueueFull, HTTPStatus.SERVICE_UNAVAILABLE),
    (InvalidRequest, HTTPStatus.BAD_REQUEST),
    (Conflict, HTTPStatus.CONFLICT),
)

_TITLES = {
    HTTPStatus.BAD_REQUEST: "This address cannot be read",
    HTTPStatus.FORBIDDEN: "Not allowed",
    HTTPStatus.NOT_FOUND: "There is no such page",
    HTTPStatus.METHOD_NOT_ALLOWED: "This address does something else",
    HTTPStatus.CONFLICT: "It cannot be done now",
    HTTPStatus.TOO_MANY_REQUESTS: "Too many tries",
    HTTPStatus.INTERNAL_SERVER_ERROR: "Something went wrong here",
    HTTPStatus.SERVICE_UNAVAILABLE: "The collector is busy",
}


async def show_problems(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Turn errors into pages that say what to do next."""
    try:
        return await handler(request)
    except web.HTTPRedirection:
        raise
    except web.HTTPException as error:
        answer = _problem(request, HTTPStatus(error.status), "")
        if "Allow" in error.headers:
            answer.headers["Allow"] = error.headers["Allow"]
        return answer
    except FadewatchError as error:
        return problem_page(request, error)
    except Exception:
        if request.writer.output_size > 0:
            # A part has been sent: breaking off says more than a page inside a file.
            raise
        _log.exception("page failed, request %s", request_id(request))
        return _problem(
            request,
            HTTPStatus.INTERNAL_SERVER_ERROR,
            "It is noted in the collector's log, under the number below.",
        )


def problem_page(request: web.Request, error: FadewatchError) -> web.Response:
    """Return the page for an error that Fadewatch can explain."""
    answer = _problem(request, status_of(error), sentence(error))
    if isinstance(error, TooManyAttempts | QueueFull):
        answer.headers["Retry-After"] = str(math.ceil(error.retry_after_s))
    return answer


def status_of(error: FadewatchError) -> HTTPStatus:
    """Return the status of an answer that tells of an error."""
    return next(
        (status for kind, status in _STATUSES if isinstance(error, kind)),
        HTTPStatus.INTERNAL_SERVER_ERROR,
    )


def _problem(request: web.Request, status: HTTPStatus, detail: str) -> web.Response:
    title = _TITLES.get(status, status.phrase)
    return page(
        request,
        "problem.html",
        status=status,
        title=title,
        detail=detail,
        request_id=request_id(request),
    )


def sentence(error: FadewatchError) -> str:
    """Return an error's message as a sentence."""
    text = str(error)
    return text[:1].upper() + text[1:] + "."
