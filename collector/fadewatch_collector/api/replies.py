"""Values as JSON answers."""

from http import HTTPStatus
from typing import Any

from aiohttp import web
from pydantic import TypeAdapter

# As a header: building it from its parts takes as long as the rest of an answer.
_JSON = {"Content-Type": "application/json; charset=utf-8"}


def done() -> web.Response:
    """Answer that it is done, and nothing more."""
    return web.Response(status=HTTPStatus.NO_CONTENT)


def reply(
    adapter: TypeAdapter[Any],
    value: object,
    status: HTTPStatus = HTTPStatus.OK,
    *,
    without_defaults: bool = False,
) -> web.Response:
    """Answer with a value of the adapter's type."""
    return web.Response(
        status=status,
        body=adapter.dump_json(value, exclude_defaults=without_defaults),
        headers=_JSON,
    )
