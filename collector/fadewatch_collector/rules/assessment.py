"""The assessment of one pack as it is shown and exported."""

from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from fadewatch_collector.analysis.figures import Band, Gauge

Concern = Literal["none", "plan", "replace", "inspect", "stop-use"]


@dataclass(frozen=True, slots=True)
class Rate:
    """A fade rate with its 80 % interval [percent of design a month]."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CrossingDates:
    """When wear passes a threshold; earliest to latest is an 80 % interval."""

    on: date
    earliest: date
    latest: date


@dataclass(frozen=True, slots=True)
class Crossings:
    """The two forecast crossings; None: not within ten years, or unknown."""

    plan: CrossingDates | None
    replace: CrossingDates | None


@dataclass(frozen=True, slots=True)
class SuddenDrop:
    """A sudden loss of capacity [percent of design]."""

    on: date
    percent: float
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Knee:
    """Where fade bent downwards [percent of design a month]."""

    on: date
    before_percent_per_month: float
    after_percent_per_month: float


@dataclass(frozen=True, slots=True)
class Assessment:
    """What the analysis says of one pack on one day, with what to do and why."""

    pack_id: str
    as_of: date
    readings: int
    wear_percent: float | None
    band: Band
    fade_percent_per_month: Rate | None
    crossings: Crossings
    sudden_drop: SuddenDrop | None
    knee: Knee | None
    gauge: Gauge
    concern: Concern
    reasons: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Return plain values ready for JSON; dates as YYYY-MM-DD."""
        # Written out: every pack goes through here every night, and walking through
        # the fields took longer than the rules.
        rate, drop, knee = self.fade_percent_per_month, self.sudden_drop, self.knee
        return {
            "pack_id": self.pack_id,
            "as_of": self.as_of.isoformat(),
            "readings": self.readings,
            "wear_percent": self.wear_percent,
            "band": self.band,
            "fade_percent_per_month": rate
            and {"estimate": rate.estimate, "low": rate.low, "high": rate.high},
            "crossings": {
                "plan": _dates(self.crossings.plan),
                "replace": _dates(self.crossings.replace),
            },
            "sudden_drop": drop
            and {
                "on": drop.on.isoformat(),
                "percent": drop.percent,
                "confirmed": drop.confirmed,
            },
            "knee": knee
            and {
                "on": knee.on.isoformat(),
                "before_percent_per_month": knee.before_percent_per_month,
                "after_percent_per_month": knee.after_percent_per_month,
            },
            "gauge": self.gauge,
            "concern": self.concern,
            "reasons": list(self.reasons),
        }


def _dates(crossing: CrossingDates | None) -> dict[str, str] | None:
    if crossing is None:
        return None
    return {
        "on": crossing.on.isoformat(),
        "earliest": crossing.earliest.isoformat(),
        "latest": crossing.latest.isoformat(),
    }
