"""Request bodies, bounded before anything looks into them."""

import asyncio
import zlib
from http import HTTPStatus
from typing import TypeVar

from aiohttp import web
from aiohttp.client_exceptions import ClientError
from aiohttp.http_exceptions import HttpProcessingError
from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from fadewatch_collector.api.keys import LIMITS
from fadewatch_collector.api.problems import Refused
from fadewatch_collector.errors import InvalidRequest

HANDLER_ARGS = {"auto_decompress": False}
"""Goes to the root application's ``handler_args``.

Bodies must reach :func:`read_body` packed, or nothing could bound their unpacking.
"""

_GZIP_WBITS = 31
"""zlib: gzip header and trailer, 32 KiB window."""

_WORDS = {
    "string_pattern_mismatch": "holds nothing but blanks, or what cannot be shown",
    "unexpected_keyword_argument": "there is no such field",
}
"""Words for what pydantic says in words of its own trade, by its type of error."""

Model = TypeVar("Model")


async def read_body(
    request: web.Request,
    limit: int,
    media_type: str = "application/json",
    *,
    timeout_s: float | None = None,
) -> bytes:
    """Return the unpacked body of a request.

    Parameters
    ----------
    limit
        Largest body, packed and unpacked [bytes].
    timeout_s
        Longest wait for the whole of it [s]; None: what the API's limits say.

    Raises
    ------
    Refused
        Too large (413), of another media type or packed by other means than gzip (415), or too
        slow (408).
    InvalidRequest
        It breaks off, or is not the gzip it is said to be.
    """
    unpacker = _unpacker_for(request, limit, media_type)
    if (request.content_length or 0) > limit:
        raise _too_large(limit)
    try:
        if request.content.is_eof():
            # It came with its headers, as a report by itself does.
            unpacker.feed(request.content.read_nowait())
            return unpacker.finish()
        if timeout_s is None:
            timeout_s = request.app[LIMITS].body_timeout_s
        async with asyncio.timeout(timeout_s):
            async for piece in request.content.iter_any():
                unpacker.feed(piece)
    except TimeoutError as error:
        raise Refused(HTTPStatus.REQUEST_TIMEOUT, "the body came too slowly") from error
    except (
        web.RequestPayloadError,
        ClientError,
        HttpProcessingError,
        ConnectionResetError,
    ) as error:
        raise InvalidRequest("the body is not what its headers say") from error
    return unpacker.finish()


async def read_model(
    request: web.Request, adapter: TypeAdapter[Model], limit: int
) -> Model:
    """Return a request's body as a checked value.

    Raises
    ------
    Refused
        As :func:`read_body`.
    InvalidRequest
        The body breaks the contract; the message names the first field.
    """
    body = await read_body(request, limit)
    try:
        return adapter.validate_json(body, strict=True)
    except ValidationError as error:
        raise InvalidRequest(first_problem(error)) from error


def first_problem(error: ValidationError) -> str:
    """Say which field is wrong first, and how."""
    detail = error.errors(include_url=False, include_context=False, include_input=False)
    return _sentence(detail[0])


def _sentence(detail: ErrorDetails) -> str:
    path = ""
    for step in detail["loc"]:
        path += f"[{step}]" if isinstance(step, int) else f".{step}"
    words = _WORDS.get(detail["type"]) or detail["msg"].removeprefix("Value error, ")
    return f"{path.lstrip('.')}: {words}" if path else words


class _Plain:
    """Gathers a body that is not packed."""

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._taken = 0
        self._body = bytearray()

    def feed(self, piece: bytes) -> None:
        self._taken += len(piece)
        if self._taken > self._limit:
            raise _too_large(self._limit)
        self._keep(piece)

    def finish(self) -> bytes:
        return bytes(self._body)

    def _keep(self, piece: bytes) -> None:
        self._body += piece


class _Gzip(_Plain):
    """Gathers and unpacks a gzip body; stops at the limit, however small it came.

    One member only: many empty members would cost time and give nothing.
    """

    def __init__(self, limit: int) -> None:
        super().__init__(limit)
        self._member = zlib.decompressobj(_GZIP_WBITS)

    def _keep(self, piece: bytes) -> None:
        room = self._limit - len(self._body)
        try:
            # One byte more than there is room for tells too much from just enough.
            self._body += self._member.decompress(piece, room + 1)
        except zlib.error as error:
            raise InvalidRequest("the body is not gzip as its header says") from error
        if len(self._body) > self._limit:
            raise _too_large(self._limit)
        if self._member.unused_data:
            raise InvalidRequest("something follows the gzip body")

    def finish(self) -> bytes:
        if not self._member.eof:
            raise InvalidRequest("the gzip body breaks off")
        return super().finish()


def _unpacker_for(request: web.Request, limit: int, media_type: str) -> _Plain:
    if request.content_type != media_type:
        raise Refused(
            HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
            f"send {media_type}",
            {"Accept": media_type},
        )
    codings = ",".join(request.headers.getall("Content-Encoding", ())).strip().lower()
    if codings in {"", "identity"}:
        return _Plain(limit)
    if codings in {"gzip", "x-gzip"}:
        return _Gzip(limit)
    raise Refused(
        HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
        "the body may be packed with gzip or not at all",
        {"Accept-Encoding": "gzip"},
    )


def _too_large(limit: int) -> Refused:
    return Refused(
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
        f"the body is larger than {limit} bytes, packed or unpacked",
    )
