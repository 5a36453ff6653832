"""Files that people send through a form."""

import base64
import binascii
import zlib

from aiohttp import BodyPartReader, web

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.web.forms import (
    FORM_BYTES,
    TOKEN_FIELD,
    refuse_other_sites,
    refuse_wrong_token,
)
from fadewatch_collector.web.keys import SESSION

FILE_BYTES = 5 * 1024 * 1024
"""Largest file taken [bytes]: places of some hundred thousand laptops. Own choice."""

PACKED_BYTES = FILE_BYTES * 3 // 2
"""Largest packed file [bytes]: what cannot be made smaller grows by a third."""

_TOO_LARGE = f"the file is larger than {FILE_BYTES // 2**20} MiB; split it"
_LOST = "the file was lost on the way; choose it again"
_CHUNK = 64 * 1024
_MOST_PARTS = 4


async def read_file(request: web.Request, name: str) -> bytes:
    """Read the file of a form that one of our own pages has sent.

    Raises
    ------
    InvalidRequest
        There is none, or it is too large.
    NotSignedIn
        The form comes from another site, or without the right token.
    """
    refuse_other_sites(request)
    if request.content_type != "multipart/form-data":
        raise InvalidRequest("this address takes a form with a file only")
    parts = await _parts(request, name)
    token = parts.get(TOKEN_FIELD, b"").decode("ascii", "replace")
    refuse_wrong_token(request, token, request[SESSION])
    if not parts.get(name):
        raise InvalidRequest("choose a file first; it must not be empty")
    return parts[name]


async def _parts(request: web.Request, file: str) -> dict[str, bytes]:
    parts: dict[str, bytes] = {}
    try:
        reader = await request.multipart()
        while (part := await reader.next()) is not None:
            if not isinstance(part, BodyPartReader) or len(parts) >= _MOST_PARTS:
                raise InvalidRequest("the form has too many parts")
            limit = FILE_BYTES if part.name == file else FORM_BYTES
            parts[part.name or ""] = await _bounded(part, limit)
    except (ValueError, AssertionError) as error:
        if isinstance(error, InvalidRequest):
            raise
        raise InvalidRequest("the form cannot be read; send it again") from error
    return parts


async def _bounded(part: BodyPartReader, limit: int) -> bytes:
    body = bytearray()
    while chunk := await part.read_chunk(_CHUNK):
        body += chunk
        if len(body) > limit:
            raise InvalidRequest(_TOO_LARGE)
    return bytes(body)


def packed(content: bytes) -> str:
    """Return a file as a hidden field carries it from a page to the next."""
    return base64.urlsafe_b64encode(zlib.compress(content)).decode("ascii")


def unpacked(text: str) -> bytes:
    """Return the file in a hidden field.

    Raises
    ------
    InvalidRequest
        It is not one of ours, or larger than a file may be.
    """
    try:
        reader = zlib.decompressobj()
        content = reader.decompress(
            base64.b64decode(text, altchars=b"-_", validate=True), FILE_BYTES + 1
        )
    except (binascii.Error, ValueError, zlib.error) as error:
        raise InvalidRequest(_LOST) from error
    if len(content) > FILE_BYTES:
        raise InvalidRequest(_TOO_LARGE)
    if not reader.eof:
        raise InvalidRequest(_LOST)
    return content
