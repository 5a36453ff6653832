"""Since when a pack has been past a threshold, steadily enough to count on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Changes:
    """What changes of the passings that are known of one pack, by threshold."""

    new: Mapping[float, date]
    withdrawn: frozenset[float]


def settle_passings(
    wear: float | None,
    passed: Mapping[float, date],
    known: Mapping[float, date],
    hysteresis: float,
) -> Changes:
    """Return what an assessment changes of the passings known of a pack.

    A passing keeps the day on which it was first said, so that noise about a threshold
    does not move it; it is withdrawn once wear has fallen back below the threshold by
    the hysteresis, as an alert is. A pack about which nothing can be said changes none.

    Parameters
    ----------
    wear
        Cleaned wear now, a fraction; None unknown.
    passed
        Thresholds that it is past now, and since when.
    known
        What was said before.
    """
    if wear is None:
        return Changes({}, frozenset())
    new = {level: on for level, on in passed.items() if level not in known}
    back = frozenset(level for level in known if wear < level - hysteresis)
    return Changes(new, back)
