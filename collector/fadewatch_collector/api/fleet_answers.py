"""What the API answers of the fleet as a whole.

Shares and fades are in percent, as everywhere in the API; what is not known is null.
Ranges are those of four cases of five, but for the limits of a comparison: 95 %.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from fadewatch_collector.rules.compared_types import Certainty, Verdict
from fadewatch_collector.rules.fleet_shares import Dimension
from fadewatch_collector.rules.held import ThresholdName


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetShare:
    """How many packs of one site, age class or pack type are in each band.

    Attributes
    ----------
    pack_type
        The type's key; null for sites and ages.
    age_from_first_seen
        Packs whose age counts from the day they were first seen.
    """

    by: Literal["all"] | Dimension
    name: str
    pack_type: str | None
    packs: int
    sound: int
    plan: int
    replace: int
    unknown: int
    age_from_first_seen: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetShares:
    """Shares of the packs that sit in slots."""

    as_of: datetime
    rows: Sequence[FleetShare]


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetMonth:
    """Packs expected to pass a threshold in a month, and from today to its end.

    Attributes
    ----------
    month
        Its first day; the present month counts from today on.
    """

    threshold: ThresholdName
    month: date
    expected: float
    low: int
    high: int
    by_then: float
    by_then_low: int
    by_then_high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetMonths:
    """What is expected for two years, month by month."""

    as_of: datetime
    rows: Sequence[FleetMonth]


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetGroup:
    """What the packs of one site or type come to by the end of the quarter."""

    by: Dimension
    name: str
    pack_type: str | None
    packs: int
    past_plan_now: int
    expected: float
    low: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetQuarter:
    """What is expected up to the end of the third month from now."""

    as_of: datetime
    until: date
    rows: Sequence[FleetGroup]


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldForecast:
    """How kept forecasts held, all of a threshold or those of one lead time.

    Attributes
    ----------
    earliest_due, middle_due, latest_due
        Forecasts whose day of that name has come and can be judged; of them 10, 50 and
        90 % should have passed by it.
    lost
        Not to be judged: the pack was out of sight before its latest day.
    before, within, after, waiting
        Of forecasts whose latest day has come: passed before the earliest day, within
        the interval, after it, or not yet.
    median_error_days
        Above 0: it came later than said.
    error_at_least
        The middle one has not come yet: the true median error is larger.
    """

    threshold: ThresholdName
    lead_time: str
    forecasts: int
    packs: int
    open: int
    earliest_due: int
    earliest_passed: int
    middle_due: int
    middle_passed: int
    latest_due: int
    latest_passed: int
    lost: int
    before: int
    within: int
    after: int
    waiting: int
    median_error_days: float | None
    median_error_percent: float | None
    error_at_least: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldForecasts:
    """How past forecasts held."""

    as_of: datetime
    rows: Sequence[HeldForecast]


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedType:
    """A pack type held against all other packs, or a batch against its own type.

    Attributes
    ----------
    made
        Quarter in which the batch was made; null: the whole type.
    certainty
        Of a verdict of ``fast`` or ``slow``.
    sentences
        The same in words.
    fade_p, lives_p
        Chance of so large a difference were all alike, all comparisons allowed for.
    passed_expected
        How many would have passed the threshold were they like the others.
    """

    pack_type: str
    name: str
    made: str | None
    packs: int
    verdict: Verdict
    certainty: Certainty
    comparisons: int
    sentences: Sequence[str]
    fade_percent_per_month: float | None
    other_fade_percent_per_month: float | None
    fade_ratio: float | None
    fade_ratio_low: float | None
    fade_ratio_high: float | None
    fade_p: float | None
    threshold_percent: float
    age_from: str | None
    lives_packs: int
    passed: int
    passed_expected: float | None
    median_years: float | None
    median_low_years: float | None
    median_high_years: float | None
    other_median_years: float | None
    lives_p: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedTypes:
    """Pack types and batches, those that fade unusually fast first."""

    as_of: datetime
    rows: Sequence[ComparedType]
