"""Suggest laptops while somebody types in the search field."""

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.store.pages import LaptopRow
from fadewatch_collector.usecases.finding import suggest_laptops
from fadewatch_collector.web import words
from fadewatch_collector.web.keys import SERVICES

FIND = "/find"

TYPED_LENGTH = 100
"""Longest text looked for [characters]. Own choice."""


async def suggest(request: web.Request) -> web.Response:
    """Answer with the first few laptops that what was typed finds."""
    found = await suggest_laptops(request.app[SERVICES], typed_in(request) or "")
    return web.json_response([_suggestion(row) for row in found])


def typed_in(request: web.Request) -> str | None:
    """Return what an address looks for; None when it looks for nothing.

    Raises
    ------
    InvalidRequest
        It is too long or holds characters that nobody types.
    """
    typed = " ".join(request.query.get("find", "").split())
    if len(typed) > TYPED_LENGTH or not typed.isprintable():
        raise InvalidRequest(
            f"what is looked for has at most {TYPED_LENGTH} plain characters"
        )
    return typed or None


def _suggestion(row: LaptopRow) -> dict[str, str]:
    tag = row.asset_tag and f"tag {row.asset_tag}"
    serial = row.serial and f"serial {row.serial}"
    about = (tag, row.holder, row.site, serial, words.joined(row.maker, row.model))
    return {
        "page": f"/laptops/{row.id}",
        "name": row.hostname or f"Laptop {row.id}",
        "about": " · ".join(part for part in about if part),
    }
