"""From figures to what a person should do, by stated rules."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from math import isnan

import numpy as np
from numpy.typing import ArrayLike

from fadewatch_collector.analysis.figures import (
    BANDS,
    DAYS_PER_MONTH,
    FADE_SOURCES,
    GAUGES,
    Assessments,
    Band,
    Crossing,
    Gauge,
    Thresholds,
)
from fadewatch_collector.rules import reasons
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
COLLAPSE = 0.25
"""Drop that calls for a stop in a pack past the plan threshold [fraction of design]."""
SHARP_FACTOR = 3.0
"""Fade that multiplies by so much is fast acceleration: published knees start here."""
SHARP_FADE = 0.02 / DAYS_PER_MONTH
"""And it takes at least so much [1/d]: half a year to a tenth; own choice."""
OLD_YEARS = 5.0
"""Age that matters in a pack past the replace threshold [year]; own choice."""
HOT_C = 45.0
"""Temperature that matters in such a pack [Celsius].

Public fire-safety advice is to charge at 40 degrees at most; a few above it is own choice.
"""


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
    inspected_on
        Day of the last inspection without signs; what happened until then asks for
        no other.
    """

    age_years: float | None = None
    hottest_c: float | None = None
    signs: tuple[str, ...] = ()
    inspected_on: date | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that matters, with the concern it raises and its sentence."""

    concern: Concern
    sentence: str


NO_CIRCUMSTANCES = Circumstances()


def conclude(
    figures: Assessments,
    index: int,
    thresholds: Thresholds,
    circumstances: Circumstances = NO_CIRCUMSTANCES,
) -> Assessment:
    """Turn the figures of pack ``index`` into its assessment, with concern and reasons.

    ``thresholds`` are those the figures were made with.
    """
    pack = _Pack(figures, index, thresholds, circumstances)
    findings = sorted(_findings(pack), key=lambda f: -RANKED.index(f.concern))
    return Assessment(
        pack_id=figures.pack_ids[index],
        as_of=reasons.to_date(figures.as_of[index]),
        readings=int(figures.readings[index]),
        wear_percent=None if isnan(pack.wear) else round(100 * pack.wear, 2),
        band=pack.band,
        fade_percent_per_month=_rate(pack),
        crossings=Crossings(
            _crossing(figures.plan, index), _crossing(figures.replace, index)
        ),
        sudden_drop=_drop(pack),
        knee=_knee(pack),
        gauge=pack.gauge,
        concern=findings[0].concern if findings else "none",
        reasons=tuple(finding.sentence for finding in findings),
    )


class _Pack:
    """The figures of one pack, as plain numbers."""

    def __init__(
        self,
        figures: Assessments,
        index: int,
        thresholds: Thresholds,
        circumstances: Circumstances,
    ) -> None:
        self.figures = figures
        self.index = index
        self.circumstances = circumstances
        self.plan = _one(thresholds.plan, index)
        self.replace = _one(thresholds.replace, index)
        self.wear = float(figures.wear[index])
        self.band: Band = BANDS[int(figures.band[index])]
        self.gauge: Gauge = GAUGES[int(figures.gauge[index])]

    def of(self, values: ArrayLike) -> float:
        """Return this pack's entry of an array."""
        return _one(values, self.index)

    def is_news(self, day: float) -> bool:
        """Say whether something of that day is not yet answered by an inspection."""
        inspected = self.circumstances.inspected_on
        return inspected is None or reasons.to_date(day) > inspected


def _one(values: ArrayLike, index: int) -> float:
    if isinstance(values, np.ndarray):
        return float(values[index] if values.ndim else values)
    array = np.asarray(values, dtype=np.float64)
    return float(array[index] if array.ndim else array)


def _findings(pack: _Pack) -> Iterator[Finding]:
    if pack.circumstances.signs:
        sentence = reasons.signs_reported(pack.circumstances.signs)
        yield Finding("stop-use", sentence)
    if isnan(pack.wear):
        yield Finding("none", reasons.nothing_known())
        return
    yield from _drop_findings(pack)
    yield from _knee_findings(pack)
    yield from _wear_findings(pack)
    yield from _course_findings(pack)
    yield from _gauge_findings(pack)


def _drop_findings(pack: _Pack) -> Iterator[Finding]:
    drop = pack.figures.drop
    on, size = pack.of(drop.on), pack.of(drop.size)
    if isnan(on) or not pack.is_news(on):
        return
    if not drop.confirmed[pack.index]:
        yield Finding("none", reasons.may_have_dropped(size, on))
    elif size >= COLLAPSE and pack.of(drop.wear_before) >= pack.plan:
        yield Finding("stop-use", reasons.collapsed(size, on))
    else:
        yield Finding("inspect", reasons.dropped(size, on))


def _knee_findings(pack: _Pack) -> Iterator[Finding]:
    knee = pack.figures.knee
    on, before, after = pack.of(knee.on), pack.of(knee.before), pack.of(knee.after)
    if isnan(on):
        return
    sharp = after >= SHARP_FADE and after >= SHARP_FACTOR * before
    if sharp and pack.is_news(on):
        yield Finding("inspect", reasons.sped_up_fast(on, after))
    else:
        yield Finding("none", reasons.bent(on, before, after))


def _wear_findings(pack: _Pack) -> Iterator[Finding]:
    if pack.band == "replace":
        sentence = reasons.past_threshold(pack.wear, pack.replace, "replace")
        yield Finding("replace", sentence)
        yield from _worn_findings(pack.circumstances)
    elif pack.band == "plan":
        yield Finding("plan", reasons.past_threshold(pack.wear, pack.plan, "plan"))


def _worn_findings(known: Circumstances) -> Iterator[Finding]:
    if known.inspected_on is not None:
        return
    if known.age_years is not None and known.age_years >= OLD_YEARS:
        yield Finding("inspect", reasons.old_and_worn(known.age_years))
    if known.hottest_c is not None and known.hottest_c >= HOT_C:
        yield Finding("inspect", reasons.hot_and_worn(known.hottest_c))


def _course_findings(pack: _Pack) -> Iterator[Finding]:
    figures = pack.figures
    rate = pack.of(figures.fade.estimate)
    if isnan(rate):
        return
    low, high = pack.of(figures.fade.low), pack.of(figures.fade.high)
    cycle = pack.of(figures.fade_per_cycle.estimate)
    yield Finding(
        "none", reasons.fades(rate, low, high, None if isnan(cycle) else cycle)
    )
    source = FADE_SOURCES[figures.fade_source[pack.index]]
    if source != FADE_SOURCES[0]:
        yield Finding("none", reasons.borrowed(source))
    yield from _forecast_findings(pack)


def _forecast_findings(pack: _Pack) -> Iterator[Finding]:
    if pack.band == "sound":
        crossing, limit, name = pack.figures.plan, pack.plan, "plan"
    elif pack.band == "plan":
        crossing, limit, name = pack.figures.replace, pack.replace, "replace"
    else:
        return
    on = pack.of(crossing.on)
    if not isnan(on):
        early, late = pack.of(crossing.earliest), pack.of(crossing.latest)
        yield Finding("none", reasons.will_cross(limit, name, on, early, late))


def _gauge_findings(pack: _Pack) -> Iterator[Finding]:
    since = pack.of(pack.figures.gauge_since)
    match pack.gauge:
        case "stale":
            yield Finding("none", reasons.stale(since))
        case "frozen":
            yield Finding("none", reasons.frozen(since))
        case "noisy":
            yield Finding("none", reasons.noisy(pack.of(pack.figures.noise)))
        case "implausible":
            yield Finding("none", reasons.implausible())
        case _:
            pass


def _monthly(rate: float) -> float:
    # Plus nothing: -0.0 is 0.0, as one of the databases keeps it anyway.
    return round(100 * rate * DAYS_PER_MONTH, 3) + 0.0


def _rate(pack: _Pack) -> Rate | None:
    spread = pack.figures.fade
    rate = pack.of(spread.estimate)
    if isnan(rate):
        return None
    low, high = pack.of(spread.low), pack.of(spread.high)
    return Rate(_monthly(rate), _monthly(low), _monthly(high))


def _crossing(crossing: Crossing, index: int) -> CrossingDates | None:
    if isnan(crossing.on[index]):
        return None
    return CrossingDates(
        reasons.to_date(crossing.on[index]),
        reasons.to_date(crossing.earliest[index]),
        reasons.to_date(crossing.latest[index]),
    )


def _drop(pack: _Pack) -> SuddenDrop | None:
    drop = pack.figures.drop
    on = pack.of(drop.on)
    if isnan(on):
        return None
    size = round(100 * pack.of(drop.size), 1)
    return SuddenDrop(reasons.to_date(on), size, bool(drop.confirmed[pack.index]))


def _knee(pack: _Pack) -> Knee | None:
    knee = pack.figures.knee
    on = pack.of(knee.on)
    if isnan(on):
        return None
    before, after = pack.of(knee.before), pack.of(knee.after)
    return Knee(reasons.to_date(on), _monthly(before), _monthly(after))
