"""Values as JSON answers."""

from http import HTTPStatus
from typing import Any

from aiohttp import web
from pydantic import TypeAdapter


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
        content_type="application/json",
        charset="utf-8",
    )
