"""When an alert opens, changes and ends."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fadewatch_collector.rules.alert_terms import AlertKind, Urgency


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that a person should see, and for which an alert stands.

    Attributes
    ----------
    reasons
        Sentences with figures and dates.
    next_step
        What to do, in one sentence.
    figures
        The numbers behind it, as shown then and now.
    """

    kind: AlertKind
    urgency: Urgency
    reasons: tuple[str, ...]
    next_step: str
    figures: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Standing:
    """An alert that has not ended."""

    id: int
    kind: AlertKind
    urgency: Urgency
    reasons: tuple[str, ...]
    next_step: str


@dataclass(frozen=True, slots=True)
class Settlement:
    """What to do with the alerts of one pack or laptop."""

    to_open: tuple[Finding, ...]
    to_update: tuple[tuple[Standing, Finding], ...]
    to_end: tuple[Standing, ...]


def settle(standing: Sequence[Standing], findings: Sequence[Finding]) -> Settlement:
    """Compare what is open with what was found: at most one alert of each kind."""
    found = {finding.kind: finding for finding in findings}
    open_kinds = {alert.kind for alert in standing}
    return Settlement(
        to_open=tuple(f for f in found.values() if f.kind not in open_kinds),
        to_update=tuple((a, found[a.kind]) for a in standing if a.kind in found),
        to_end=tuple(alert for alert in standing if alert.kind not in found),
    )
