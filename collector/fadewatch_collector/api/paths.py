"""Numbers in the path of an address."""

import re
from collections.abc import Mapping
from typing import Any

from aiohttp import web

from fadewatch_collector.errors import NotFound

LARGEST_ID = 2**63 - 1

_ID = re.compile(r"[1-9][0-9]{0,18}", re.ASCII)
_TEXT_SHOWN = 40


def numbered(name: str) -> Mapping[str, Mapping[str, Any]]:
    """Describe a path that has one number, for a route's ``path_parameters``."""
    return {name: {"type": "integer", "minimum": 1, "maximum": LARGEST_ID}}


def number_in(request: web.Request, name: str, what: str) -> int:
    """Return the number that stands in a request's path.

    Raises
    ------
    NotFound
        It cannot be the number of anything.
    """
    text = request.match_info[name]
    if not _ID.fullmatch(text) or int(text) > LARGEST_ID:
        raise NotFound(what, text[:_TEXT_SHOWN])
    return int(text)
