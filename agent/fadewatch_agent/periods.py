"""How often the agent reads: a part of a day that every timer can keep."""

import re

from fadewatch_agent.errors import InvalidConfiguration

DEFAULT = "6h"

_MINUTES = (15, 20, 30, 60, 120, 180, 240, 360, 480, 720, 1440)
"""Whole parts of an hour or a day, so that the system's timers need no drift."""

_UNITS = {"m": 1, "h": 60, "d": 1440}
_FORM = re.compile(r"(\d{1,4})([mhd])")
_SECONDS = re.compile(r"(\d{1,7})(s|m|h)?")


def minutes_of(text: str) -> int:
    """Return the minutes of a period such as ``6h``.

    Raises
    ------
    InvalidConfiguration
        It is none of the periods that every system's timer can keep.
    """
    found = _FORM.fullmatch(text)
    minutes = int(found[1]) * _UNITS[found[2]] if found else 0
    if minutes not in _MINUTES:
        known = ", ".join(map(words_of, _MINUTES))
        raise InvalidConfiguration(f"every {text!r} must be one of {known}")
    return minutes


def words_of(minutes: int) -> str:
    """Write a period in its shortest form."""
    if minutes % 1440 == 0:
        return f"{minutes // 1440}d"
    return f"{minutes // 60}h" if minutes % 60 == 0 else f"{minutes}m"


def seconds_of(text: str) -> float:
    """Return the seconds of a wait such as ``90``, ``90s`` or ``2m``.

    Raises
    ------
    InvalidConfiguration
        It is no such wait.
    """
    found = _SECONDS.fullmatch(text)
    if found is None:
        raise InvalidConfiguration(f"{text!r} is no time such as 90s, 2m or 1h")
    return float(found[1]) * {"m": 60, "h": 3600}.get(found[2] or "s", 1)
