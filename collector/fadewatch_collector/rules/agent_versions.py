"""Which versions of the agent are older than this collector's."""

import re
from typing import Literal

Standing = Literal["same", "older", "newer", "unknown"]

_NUMBERS = re.compile(r"(\d{1,6})(?:\.(\d{1,6}))?(?:\.(\d{1,6}))?(?:\D.*)?")


def standing(version: str | None, own: str) -> Standing:
    """Say how an agent's version stands to the collector's own.

    A version that is no row of numbers is unknown; what follows the third number is
    not compared.
    """
    theirs, ours = _numbers(version), _numbers(own)
    if theirs is None or ours is None:
        return "unknown"
    if theirs == ours:
        return "same"
    return "older" if theirs < ours else "newer"


def newest_first(version: str | None) -> tuple[int, ...]:
    """Return a key that sorts versions, the newest first and unknown ones last."""
    numbers = _numbers(version)
    return (1,) if numbers is None else (0, *(-number for number in numbers))


def _numbers(version: str | None) -> tuple[int, int, int] | None:
    found = _NUMBERS.fullmatch(version or "")
    if found is None:
        return None
    first, second, third = (int(number or 0) for number in found.groups())
    return first, second, third
