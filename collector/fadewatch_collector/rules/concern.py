"""From figures to what a person should do, by stated rules."""

from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan

from fadewatch_collector.analysis.figures import (
    BANDS,
    DAYS_PER_MONTH,
    GAUGES,
    Assessments,
    Crossing,
    Thresholds,
)
from fadewatch_collector.rules.assessment import (
    Assessment,
    Concern,
    CrossingDates,
    Crossings,
    Knee,
    Rate,
    SuddenDrop,
)

RANKED: tuple[Concern, ...] = ("none", "plan", "replace", "inspect", "stop-use")
"""Concerns in rising urgency; the most urgent that applies is the pack's."""


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known of a pack beside its capacity.

    Parameters
    ----------
    age_years
        Age since it was made or first seen [year]; None unknown.
    hottest_c
        Highest temperature reported lately [Celsius]; None unknown.
    signs
        Physical signs that a person reported, in words; empty without any.
    """

    age_years: float | None = None
    hottest_c: float | None = None
    signs: tuple[str, ...] = ()


NO_CIRCUMSTANCES = Circumstances()
EPOCH = date(1970, 1, 1)


def conclude(
    figures: Assessments,
    index: int,
    thresholds: Thresholds,
    circumstances: Circumstances = NO_CIRCUMSTANCES,
) -> Assessment:
    """Turn the figures of pack ``index`` into its assessment, with concern and reasons.

    ``thresholds`` are those the figures were made with.
    """
    wear = float(figures.wear[index])
    band = BANDS[int(figures.band[index])]
    return Assessment(
        pack_id=figures.pack_ids[index],
        as_of=_day(figures.as_of[index]),
        readings=int(figures.readings[index]),
        wear_percent=None if isnan(wear) else round(100 * wear, 2),
        band=band,
        fade_percent_per_month=_rate(figures, index),
        crossings=Crossings(
            _crossing(figures.plan, index), _crossing(figures.replace, index)
        ),
        sudden_drop=_drop(figures, index),
        knee=_knee(figures, index),
        gauge=GAUGES[int(figures.gauge[index])],
        concern="none" if band in {"sound", "unknown"} else band,
        reasons=(),
    )


def _day(number: float) -> date:
    return EPOCH + timedelta(days=int(number))


def _monthly(rate: float) -> float:
    return round(100 * rate * DAYS_PER_MONTH, 3)


def _rate(figures: Assessments, index: int) -> Rate | None:
    spread = figures.fade
    if isnan(spread.estimate[index]):
        return None
    return Rate(
        _monthly(spread.estimate[index]),
        _monthly(spread.low[index]),
        _monthly(spread.high[index]),
    )


def _crossing(crossing: Crossing, index: int) -> CrossingDates | None:
    if isnan(crossing.on[index]):
        return None
    return CrossingDates(
        _day(crossing.on[index]),
        _day(crossing.earliest[index]),
        _day(crossing.latest[index]),
    )


def _drop(figures: Assessments, index: int) -> SuddenDrop | None:
    drop = figures.drop
    if isnan(drop.on[index]):
        return None
    size = round(100 * float(drop.size[index]), 1)
    return SuddenDrop(_day(drop.on[index]), size, bool(drop.confirmed[index]))


def _knee(figures: Assessments, index: int) -> Knee | None:
    knee = figures.knee
    if isnan(knee.on[index]):
        return None
    return Knee(
        _day(knee.on[index]), _monthly(knee.before[index]), _monthly(knee.after[index])
    )
