"""What a laptop is found by: its names and numbers, folded for comparing.

A person types the beginning of a name or number, or the end of a long one (the last
digits on a label), in any case; several words must all be found.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping

SOURCES = ("asset tag", "serial", "host name", "holder", "pack serial")
"""What is looked at, in the words that are shown."""

TERM_LENGTH = 120
"""Longest term kept [characters]; longer names are found by their beginning."""

WORDS = 4
"""Most words looked for [count]. Own choice."""

SHORTEST_END = 3
"""Fewest characters by which the end of a term is found [count]. Own choice."""

_PARTS = re.compile(r"[^\W_]+")


def folded(text: str) -> str:
    """Return a text as it is compared: no case, one blank between words.

    Notes
    -----
    Compatibility forms are unified (Unicode NFKC) and case is folded (Unicode 15,
    section 3.13), so that "STRASSE" finds "Straße".
    """
    plain = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(plain.split())[:TERM_LENGTH]


def terms_of(value: str) -> frozenset[str]:
    """Return the terms under which a name or number is kept: itself and its words."""
    whole = folded(value)
    words = (word for word in _PARTS.findall(whole) if len(word) > 1)
    return frozenset(filter(None, (whole, *words)))


def terms_by_source(
    values: Mapping[str, Iterable[str | None]],
) -> frozenset[tuple[str, str]]:
    """Return each source with each of its terms."""
    return frozenset(
        (source, term)
        for source, texts in values.items()
        for text in texts
        if text
        for term in terms_of(text)
    )


def words_sought(typed: str) -> tuple[str, ...]:
    """Return the words to look for; none when nothing was typed that can be found."""
    return tuple(dict.fromkeys(folded(typed).split()))[:WORDS]
