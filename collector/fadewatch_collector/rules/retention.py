"""How long what is stored is kept, and the months that readings are kept in."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta

LEAST_KEPT_DAYS = 60
"""Shortest time that raw reports may be kept for [days]. Own choice: what pages and
swaps read of raw readings lies within it, and so does an ordinary spool."""

MONTHS_AHEAD = 3
"""Months that are made ready beyond the one that runs [count]. Own choice: a collector
may rest for so long before readings go where they must be sorted out of again."""


def kept_from(now: datetime, days: int) -> datetime | None:
    """Return the moment from which on things are kept, a midnight (UTC).

    Parameters
    ----------
    days
        How long they are kept [days]; 0 is for ever.

    Returns
    -------
    datetime or None
        None when everything is kept.
    """
    if days == 0:
        return None
    return midnight(now.astimezone(UTC).date() - timedelta(days=days))


def midnight(day: date) -> datetime:
    """Return the moment at which a day begins (UTC)."""
    return datetime.combine(day, time(), UTC)


def month_of(day: date) -> date:
    """Return the first day of a day's month."""
    return day.replace(day=1)


def month_after(month: date) -> date:
    """Return the first day of the month after a month."""
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)


def months_ready(today: date) -> Iterator[date]:
    """Give the first days of the months that must be ready today."""
    month = month_of(today)
    for _ in range(1 + MONTHS_AHEAD):
        yield month
        month = month_after(month)
