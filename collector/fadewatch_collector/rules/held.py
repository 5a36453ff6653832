"""Forecasts that are kept to be held against what comes."""

from datetime import date
from typing import Literal

ThresholdName = Literal["plan", "replace"]

THRESHOLD_NAMES: tuple[ThresholdName, ...] = ("plan", "replace")

KEPT_MONTHS = 36
"""How long a kept forecast stays [month]. Own choice: long enough to judge forecasts of a
year and more, at one short row a pack and month."""

LEAD_WORDS = ("under 3 months", "3 to 6 months", "6 to 12 months", "a year and more")
"""The classes of lead time in words, in their order."""

SAID_SHARES = (0.1, 0.5, 0.9)
"""Part of the packs that should have crossed by each of a forecast's three days."""

_MONTHS_A_YEAR = 12


def is_due(kept_on: date | None, today: date) -> bool:
    """Say whether forecasts are to be kept: once in each calendar month."""
    return kept_on is None or (kept_on.year, kept_on.month) < (today.year, today.month)


def kept_since(today: date) -> date:
    """Return the first day whose forecasts are still kept."""
    months = today.year * _MONTHS_A_YEAR + today.month - 1 - KEPT_MONTHS
    return date(months // _MONTHS_A_YEAR, months % _MONTHS_A_YEAR + 1, 1)
