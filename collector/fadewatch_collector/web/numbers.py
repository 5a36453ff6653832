"""Numbers in addresses and forms."""

from collections.abc import Mapping

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest, NotFound

MOST_DIGITS = 18
"""Longest number that surely fits the store's 64 bits [digit]."""


def number_in(request: web.Request, name: str, what: str) -> int:
    """Return the number in a part of the address.

    Raises
    ------
    NotFound
        It is none, so there is nothing of that number.
    """
    text = request.match_info[name]
    if not _is_number(text):
        raise NotFound(what, f"numbered {text[:40]!r}")
    return int(text)


def number_of(form: Mapping[str, str], name: str) -> int:
    """Return a number that our own form carries hidden.

    Raises
    ------
    InvalidRequest
        It is missing or none.
    """
    text = form.get(name, "")
    if not _is_number(text):
        raise InvalidRequest(f"the form lacks its {name}; open the page again")
    return int(text)


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS
