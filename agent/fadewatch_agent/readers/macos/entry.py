"""Values of a registry entry, each of which may be missing or odd. Pure."""

from fadewatch_agent.readers.files import clean
from fadewatch_agent.readers.macos.programs import Entry
from fadewatch_common.report import NAME_LENGTH

_SIGN_BIT = 1 << 63
_WRAP = 1 << 64


def number(entry: Entry, name: str) -> int | None:
    """Return a whole number; a negative one may come as 2^64 less its size."""
    value = entry.get(name)
    if isinstance(value, bool) or not isinstance(value, int):
        return None
    return value - _WRAP if _SIGN_BIT <= value < _WRAP else value


def positive(entry: Entry, name: str) -> int | None:
    """Return a number above 0; None for anything else, as 0 stands for unknown."""
    value = number(entry, name)
    return value if value is not None and value > 0 else None


def flag(entry: Entry, name: str) -> bool | None:
    """Return a yes or no, also where it comes as 1 or 0."""
    value = entry.get(name)
    return bool(value) if isinstance(value, (bool, int)) else None


def text(entry: Entry, name: str, limit: int = NAME_LENGTH) -> str | None:
    """Return a text, also where it comes as bytes with an end mark."""
    value = entry.get(name)
    if isinstance(value, bytes):
        return clean(value.partition(b"\0")[0], limit)
    return clean(value, limit) if isinstance(value, str) else None


def part(entry: Entry, name: str) -> Entry:
    """Return a nested dictionary; an empty one where there is none."""
    value = entry.get(name)
    return value if isinstance(value, dict) else {}
