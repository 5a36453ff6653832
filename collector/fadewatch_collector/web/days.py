"""How many days ahead an address looks."""

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.visit_terms import DEFAULT_HORIZON, FARTHEST_HORIZON

_DIGITS = len(str(FARTHEST_HORIZON))


def days_of(text: str) -> int:
    """Return how many days ahead to look; nothing asked for is the default.

    Raises
    ------
    InvalidRequest
        It is no number of days.
    """
    if not text:
        return DEFAULT_HORIZON
    if not (text.isascii() and text.isdigit()) or len(text) > _DIGITS:
        raise InvalidRequest("the days to look ahead are a whole number")
    return min(int(text), FARTHEST_HORIZON)
