"""Crossings that are expected over the whole fleet, and how past forecasts held."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

from fadewatch_collector.analysis.held import Point, Tally, median_error
from fadewatch_collector.rules.fleet_shares import Dimension
from fadewatch_collector.rules.held import LEAD_WORDS, ThresholdName

MONTHS_AHEAD = 24
"""Whole months that are looked ahead, after the rest of the present one [month]."""

QUARTER_MONTHS = 3
ALL_LEADS = "all"
_MONTHS_A_YEAR = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedMonth:
    """Packs expected to pass a threshold in a month, and up to its end.

    Attributes
    ----------
    month
        Its first day; the present month counts from today on.
    expected, low, high
        Mean, and 80 % range [count].
    by_then, by_then_low, by_then_high
        The same from today to the month's end: the range of a sum, not a sum of ranges.
    """

    threshold: ThresholdName
    month: date
    expected: float
    low: int
    high: int
    by_then: float
    by_then_low: int
    by_then_high: int

    def as_json(self) -> dict[str, Any]:
        """Return plain values ready for JSON."""
        return asdict(self) | {"month": self.month.isoformat()}

    @classmethod
    def from_json(cls, kept: dict[str, Any]) -> "ExpectedMonth":
        """Return what :meth:`as_json` gave."""
        return cls(**kept | {"month": date.fromisoformat(kept["month"])})


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedGroup:
    """What the packs of one site or type come to within the next three months.

    Attributes
    ----------
    key
        Of the pack type, or the site; None: no site is told.
    past
        Packs past the plan threshold today, those past the replace threshold too.
    expected, low, high
        Packs that pass it by then, in the mean, and their 80 % range [count].
    """

    dimension: Dimension
    key: str | None
    name: str
    packs: int
    past: int
    expected: float
    low: int
    high: int

    def as_json(self) -> dict[str, Any]:
        """Return plain values ready for JSON."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldRow:
    """How kept forecasts of a threshold held, all or those of one lead time.

    Attributes
    ----------
    lead
        Time from the forecast to its middle day, in words.
    earliest_due, earliest_crossed
        Forecasts whose earliest day has come, and those crossed by then: 10 % were said.
    middle_due, middle_crossed, latest_due, latest_crossed
        The same of the middle day (50 % said) and of the latest (90 %).
    lost
        Forecasts whose latest day has come, but whose pack was out of sight before.
    open
        Neither crossed nor past their latest day.
    before, within, after, waiting
        Of forecasts whose latest day has come: crossed before the earliest day, within
        the interval, after the latest day, or not even yet.
    error_days, error_part
        Median of what came less what was said, in days and as a part of the time said;
        above 0: later than said.
    error_at_least
        The median is one that has not come yet: the true one is larger.
    """

    threshold: ThresholdName
    lead: str
    forecasts: int
    packs: int
    open: int
    earliest_due: int
    earliest_crossed: int
    middle_due: int
    middle_crossed: int
    latest_due: int
    latest_crossed: int
    lost: int
    before: int
    within: int
    after: int
    waiting: int
    error_days: float | None
    error_part: float | None
    error_at_least: bool

    @property
    def ended(self) -> int:
        """Count the forecasts whose latest day has come."""
        return self.before + self.within + self.after + self.waiting

    def as_json(self) -> dict[str, Any]:
        """Return plain values ready for JSON."""
        return asdict(self)


def months_ahead(today: date) -> list[date]:
    """Return the first days of the present month and those after it."""
    start = today.year * _MONTHS_A_YEAR + today.month - 1
    return [_month(start + number) for number in range(MONTHS_AHEAD + 1)]


def last_day(month: date) -> date:
    """Return the last day of the month that a day begins."""
    return _month(month.year * _MONTHS_A_YEAR + month.month) - timedelta(days=1)


def quarter_end(today: date) -> date:
    """Return the last day of the third whole month from a day on."""
    return last_day(months_ahead(today)[QUARTER_MONTHS])


def held_rows(
    threshold: ThresholdName, everything: Tally, by_lead: Sequence[Tally]
) -> list[HeldRow]:
    """Return the rows of a threshold: all its forecasts, then each lead time."""
    named = zip(LEAD_WORDS, by_lead, strict=True)
    return [
        _held_row(threshold, lead, tally)
        for lead, tally in ((ALL_LEADS, everything), *named)
    ]


def _held_row(threshold: ThresholdName, lead: str, tally: Tally) -> HeldRow:
    days, part = median_error(tally), median_error(tally, relative=True)
    return HeldRow(
        threshold=threshold,
        lead=lead,
        forecasts=tally.forecasts,
        packs=tally.pack_count,
        open=tally.open,
        **_point("earliest", tally.earliest),
        **_point("middle", tally.middle),
        **_point("latest", tally.latest),
        lost=tally.latest.lost,
        before=tally.before,
        within=tally.within,
        after=tally.after,
        waiting=tally.waiting,
        error_days=days.value if days else None,
        error_part=part.value if part else None,
        error_at_least=bool(days and days.at_least),
    )


def _point(name: str, point: Point) -> dict[str, int]:
    return {f"{name}_due": point.due, f"{name}_crossed": point.crossed}


def _month(count: int) -> date:
    return date(count // _MONTHS_A_YEAR, count % _MONTHS_A_YEAR + 1, 1)
