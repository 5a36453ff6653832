"""Moments and spans in words."""

from datetime import UTC, date, datetime

_STEPS = (
    (60, "second"),
    (60, "minute"),
    (24, "hour"),
    (30, "day"),
    (12, "month"),
)
JUST_NOW_S = 45
"""Span below which nobody needs a figure [s]. Own choice."""


def ago(moment: datetime, now: datetime) -> str:
    """Say how long ago a moment was, in one whole unit."""
    count = (now - moment).total_seconds()
    if count < -JUST_NOW_S:
        return "in the future: check the clock"
    if count < JUST_NOW_S:
        return "just now"
    for size, unit in _STEPS:
        if count < size:
            return _counted(count, unit)
        count /= size
    return _counted(count, "year")


def days_ago(day: date | datetime, today: date) -> str:
    """Say how many days ago a day was, or how far ahead it is."""
    if isinstance(day, datetime):
        day = day.astimezone(UTC).date()
    days = (today - day).days
    if days == 0:
        return "today"
    if days < 0:
        return f"in {-days} {'day' if days == -1 else 'days'}"
    return f"{days} {'day' if days == 1 else 'days'} ago"


def _counted(count: float, unit: str) -> str:
    whole = max(1, int(count))
    return f"{whole} {unit}{'' if whole == 1 else 's'} ago"
