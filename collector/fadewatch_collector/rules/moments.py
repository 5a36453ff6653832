"""When a reading was taken, if the laptop's clock cannot be believed."""

from datetime import UTC, datetime, timedelta

CLOCK_AHEAD = timedelta(days=1)
"""How far ahead of the collector a laptop's clock may run. Own choice."""

LONGEST_SPOOL = timedelta(days=800)
"""Age above which a report's own date is a wrong clock, not a full spool. Own choice.

A spool of 5,000 reports thinned to one a day could hold more, but a laptop that comes
back after over two years is rarer than a clock that fell back to its factory date.
"""


def believable_moment(measured_at: datetime, received_at: datetime) -> datetime:
    """Return, in UTC, when the reading counts: as measured unless that is absurd."""
    ahead = measured_at - received_at > CLOCK_AHEAD
    ancient = received_at - measured_at > LONGEST_SPOOL
    return (received_at if ahead or ancient else measured_at).astimezone(UTC)
