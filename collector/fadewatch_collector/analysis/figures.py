"""What the analysis says of a batch of packs: one array entry per pack."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fadewatch_collector.analysis.arrays import (
    CodeArray,
    CountArray,
    DayArray,
    FloatArray,
    Mask,
)

Band = Literal["sound", "plan", "replace", "unknown"]
Gauge = Literal["good", "stale", "frozen", "noisy", "implausible"]
BANDS: tuple[Band, ...] = ("unknown", "sound", "plan", "replace")
"""Band of a pack, by the code kept in ``Assessments.band``."""
GAUGES: tuple[Gauge, ...] = ("good", "stale", "frozen", "noisy", "implausible")
"""Trust in the gauge, by the code kept in ``Assessments.gauge``."""
FADE_SOURCES = ("own history", "own pack type", "fleet", "published figures")
"""Where the fade rate mostly comes from, by the code in ``Assessments.fade_source``."""
DAYS_PER_MONTH = 30.4375
"""A twelfth of the mean Julian year of 365.25 days [d]."""
HORIZON_DAYS = 3652.5
"""How far crossings are forecast: ten years [d]."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Wear at which a pack is planned for and replaced, as fractions.

    Each is one number for all packs or one per pack. ``common`` is the wear at which
    packs of all sites and models are compared with each other.
    """

    plan: float | FloatArray = 0.30
    replace: float | FloatArray = 0.40
    common: float = 0.30


@dataclass(frozen=True, slots=True, eq=False)
class Crossing:
    """When wear passes a threshold [d since 1970-01-01]; NaN: not within ten years.

    ``earliest`` to ``latest`` is an 80 % interval, cut off at the ten years. A
    threshold already passed has all three on the day it was passed.
    """

    on: FloatArray
    earliest: FloatArray
    latest: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """An estimate with an interval; NaN where nothing can be said."""

    estimate: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Drops:
    """The newest standing sudden drop of each pack.

    Parameters
    ----------
    on
        Day of the first reading after the drop [d]; NaN without one.
    size
        Lost share of design capacity, a fraction.
    confirmed
        Readings since have borne it out.
    wear_before
        Wear before the drop, a fraction.
    """

    on: FloatArray
    size: FloatArray
    confirmed: Mask
    wear_before: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Knees:
    """Where fade bent downwards; NaN without a knee.

    ``before`` and ``after`` are rates as fractions of design a day [1/d].
    """

    on: FloatArray
    before: FloatArray
    after: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Assessments:
    """The figures of a batch of packs as of one day each (a struct of arrays).

    Parameters
    ----------
    pack_ids
        One name per pack.
    as_of
        Day of the assessment [d since 1970-01-01]; nothing later was looked at.
    readings
        Days with a usable reading up to ``as_of``.
    first_day, last_day
        First and last day with a usable reading [d]; -1 without one.
    wear
        Cleaned wear now, a fraction; NaN unknown.
    band
        Code into `BANDS`.
    fade
        Rate of fade now, fraction of design a day [1/d], with an 80 % interval.
    fade_per_cycle
        The same per cycle; NaN where cycles are not counted.
    fade_source
        Code into `FADE_SOURCES`.
    own_fade
        Rate that the pack's own history shows, whatever others of its type do, fraction
        of design a day [1/d]; NaN where it is too short. May be below 0.
    plan, replace
        Forecast crossings of the two thresholds.
    common_on
        Day since when wear has been past the threshold common to all [d]; NaN: it is not.
    drop, knee
        What happened to the pack.
    gauge
        Code into `GAUGES`.
    gauge_since
        Day since when the gauge has held its value [d]; NaN unless stale or frozen.
    noise
        Robust day-to-day noise of a reading, fraction of design.
    cycles
        Latest cycle count; NaN unknown.
    """

    pack_ids: tuple[str, ...]
    as_of: DayArray
    readings: CountArray
    first_day: DayArray
    last_day: DayArray
    wear: FloatArray
    band: CodeArray
    fade: Spread
    fade_per_cycle: Spread
    fade_source: CodeArray
    own_fade: FloatArray
    plan: Crossing
    replace: Crossing
    common_on: FloatArray
    drop: Drops
    knee: Knees
    gauge: CodeArray
    gauge_since: FloatArray
    noise: FloatArray
    cycles: FloatArray

    def __len__(self) -> int:
        """Count the packs."""
        return len(self.pack_ids)


def bands(wear: FloatArray, thresholds: Thresholds) -> CodeArray:
    """Return the band code of each wear: a threshold reached counts as passed."""
    code = 1 + (wear >= thresholds.plan).astype(np.int8) + (wear >= thresholds.replace)
    return np.where(np.isnan(wear), 0, code).astype(np.int8)
