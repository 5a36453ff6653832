"""When an alert opens, changes, ends, and opens again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from fadewatch_collector.rules.alert_terms import URGENCIES, AlertKind, Urgency

REOPENS_WITHIN = timedelta(days=30)
"""A matter that comes back so soon is the same one. Own choice."""

NO_WAIT = timedelta(0)

OPEN_AFTER: Mapping[AlertKind, timedelta] = {
    "fast-fade": timedelta(days=7),
    "gauge-doubt": timedelta(days=7),
    "inspect": timedelta(days=3),
}
"""How long a finding must stand before its alert opens. Own choice: wear is a level of
several days already, and a sudden drop is confirmed before it is found."""

END_AFTER: Mapping[AlertKind, timedelta] = {
    "wear-plan": timedelta(days=3),
    "wear-replace": timedelta(days=3),
    "sudden-drop": timedelta(days=7),
    "fast-fade": timedelta(days=21),
    "gauge-doubt": timedelta(days=30),
    "inspect": timedelta(days=21),
}
"""How long a finding must be gone before its alert ends by itself. Own choice."""


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
class Rested:
    """The newest ended alert of a kind, ended less than `REOPENS_WITHIN` ago."""

    id: int
    kind: AlertKind
    urgency: Urgency
    by_person: bool


@dataclass(frozen=True, slots=True)
class Watch:
    """A change that has been seen but has not stood long enough yet.

    Attributes
    ----------
    present
        The finding came (True), or it went (False).
    since
        When that was first seen.
    """

    kind: AlertKind
    present: bool
    since: datetime


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of one subject's alerts."""

    standing: Sequence[Standing] = ()
    rested: Sequence[Rested] = ()
    watches: Sequence[Watch] = ()


@dataclass(slots=True)
class Settlement:
    """What to do with the alerts of one pack or laptop."""

    to_open: list[Finding] = field(default_factory=list)
    to_reopen: list[tuple[Rested, Finding]] = field(default_factory=list)
    to_update: list[tuple[Standing, Finding]] = field(default_factory=list)
    to_end: list[tuple[Standing, str]] = field(default_factory=list)
    to_watch: list[Watch] = field(default_factory=list)
    to_forget: list[AlertKind] = field(default_factory=list)


def settle(known: Known, findings: Sequence[Finding], now: datetime) -> Settlement:
    """Compare what is known with what was found: at most one alert of each kind.

    A finding opens its alert when it has stood for `OPEN_AFTER`; a `stop-use` one at
    once. It ends when it has been gone for `END_AFTER`. One that a person ended rests
    for `REOPENS_WITHIN`, unless it becomes more urgent.
    """
    found = {finding.kind: finding for finding in findings}
    standing = {alert.kind: alert for alert in known.standing}
    watches = {watch.kind: watch for watch in known.watches}
    rested = {alert.kind: alert for alert in known.rested}
    result = Settlement()
    for kind, finding in found.items():
        if kind in standing:
            result.to_update.append((standing[kind], finding))
            if kind in watches:
                result.to_forget.append(kind)
        elif not _is_put_to_rest(rested.get(kind), finding):
            _come(result, finding, watches.get(kind), rested.get(kind), now)
    for kind, alert in standing.items():
        if kind not in found:
            _go(result, alert, watches.get(kind), found, now)
    result.to_forget += [
        kind for kind in watches if kind not in found and kind not in standing
    ]
    return result


def _is_put_to_rest(rested: Rested | None, finding: Finding) -> bool:
    if rested is None or not rested.by_person:
        return False
    return URGENCIES.index(finding.urgency) >= URGENCIES.index(rested.urgency)


def _come(
    result: Settlement,
    finding: Finding,
    watch: Watch | None,
    rested: Rested | None,
    now: datetime,
) -> None:
    wait = OPEN_AFTER.get(finding.kind, NO_WAIT)
    since = watch.since if watch and watch.present else now
    if now - since < wait and finding.urgency != "stop-use":
        if watch is None or not watch.present:
            result.to_watch.append(Watch(finding.kind, True, now))
        return
    if watch:
        result.to_forget.append(finding.kind)
    if rested:
        result.to_reopen.append((rested, finding))
    else:
        result.to_open.append(finding)


def _go(
    result: Settlement,
    alert: Standing,
    watch: Watch | None,
    found: Mapping[AlertKind, Finding],
    now: datetime,
) -> None:
    if alert.kind == "wear-plan" and "wear-replace" in found:
        result.to_end.append((alert, "wear has passed the replace threshold"))
        return
    wait = END_AFTER.get(alert.kind, NO_WAIT)
    since = watch.since if watch and not watch.present else now
    if now - since < wait:
        if watch is None or watch.present:
            result.to_watch.append(Watch(alert.kind, False, now))
        return
    if watch:
        result.to_forget.append(alert.kind)
    result.to_end.append((alert, "the cause is gone by the newest readings"))
