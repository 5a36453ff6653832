"""Changes of alerts, many at once: one statement for all changes of a sort."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Executable, bindparam, delete, insert, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import URGENCIES, AlertKind
from fadewatch_collector.rules.alerting import Finding, Watch
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.tables import alerts, finding_watches

Change = tuple[int, Subject, Finding]
"""Number of an alert, and what it says from now on."""

_SAID = (
    "urgency",
    "urgency_rank",
    "reasons",
    "next_step",
    "figures_now",
    "laptop_id",
    "site",
)


def _new(name: str) -> Any:
    return bindparam(f"new_{name}", type_=alerts.c[name].type)


_UPDATE = (
    update(alerts)
    .where(alerts.c.id == bindparam("alert_id"))
    .values({name: _new(name) for name in _SAID})
)
_UPDATE_URGENCY = _UPDATE.values(changed_at=_new("changed_at"))
_REOPEN = _UPDATE_URGENCY.values(
    state="open",
    version=alerts.c.version + 1,
    reopened=alerts.c.reopened + 1,
    ended_at=None,
    ended_because=None,
    ended_by=None,
    planned_on=None,
)
_END = (
    update(alerts)
    .where(alerts.c.id == bindparam("alert_id"))
    .values(
        state="ended",
        ended_at=_new("ended_at"),
        changed_at=_new("changed_at"),
        version=alerts.c.version + 1,
        ended_because=_new("ended_because"),
    )
)
_FORGET = delete(finding_watches).where(
    finding_watches.c.subject == bindparam("about"),
    finding_watches.c.kind == bindparam("of_kind"),
)


async def open_alerts(
    connection: AsyncConnection,
    found: Sequence[tuple[Subject, Finding]],
    now: datetime,
) -> list[int]:
    """Open an alert for each finding; returns their numbers, in the same order."""
    if not found:
        return []
    values = [
        {
            "kind": finding.kind,
            "state": "open",
            "subject": subject.name,
            "pack_id": subject.pack_id,
            "opened_at": now,
            "changed_at": now,
            "figures_opened": dict(finding.figures),
            **_said(subject, finding),
        }
        for subject, finding in found
    ]
    numbered = insert(alerts).returning(alerts.c.id, sort_by_parameter_order=True)
    return list(await connection.scalars(numbered, values))


async def reopen_alerts(
    connection: AsyncConnection, changes: Iterable[Change], now: datetime
) -> None:
    """Open ended alerts again: the same matters have come back."""
    await _execute(connection, _REOPEN, _changed(changes, {"new_changed_at": now}))


async def update_alerts(connection: AsyncConnection, changes: Iterable[Change]) -> None:
    """Bring reasons and figures of alerts up to date; their urgency stays."""
    await _execute(connection, _UPDATE, _changed(changes, {}))


async def update_urgencies(
    connection: AsyncConnection, changes: Iterable[Change], now: datetime
) -> None:
    """Bring alerts up to date whose urgency has changed."""
    values = _changed(changes, {"new_changed_at": now})
    await _execute(connection, _UPDATE_URGENCY, values)


async def end_alerts(
    connection: AsyncConnection, ended: Iterable[tuple[int, str]], now: datetime
) -> None:
    """End alerts whose cause is gone; each with the reason."""
    values = [
        {
            "alert_id": number,
            "new_ended_because": because,
            "new_ended_at": now,
            "new_changed_at": now,
        }
        for number, because in ended
    ]
    await _execute(connection, _END, values)


async def start_watches(
    connection: AsyncConnection, watches: Sequence[tuple[str, Watch]]
) -> None:
    """Keep since when findings have come or gone."""
    await forget_watches(connection, [(about, watch.kind) for about, watch in watches])
    values = [
        {
            "subject": about,
            "kind": watch.kind,
            "present": watch.present,
            "since": watch.since,
        }
        for about, watch in watches
    ]
    await _execute(connection, insert(finding_watches), values)


async def forget_watches(
    connection: AsyncConnection, watches: Iterable[tuple[str, AlertKind]]
) -> None:
    """Forget findings that came to nothing, or that count now."""
    values = [{"about": about, "of_kind": kind} for about, kind in watches]
    await _execute(connection, _FORGET, values)


def _changed(
    changes: Iterable[Change], more: dict[str, datetime]
) -> list[dict[str, Any]]:
    return [
        {"alert_id": number, **more}
        | {f"new_{name}": value for name, value in _said(subject, finding).items()}
        for number, subject, finding in changes
    ]


def _said(subject: Subject, finding: Finding) -> dict[str, Any]:
    return {
        "urgency": finding.urgency,
        "urgency_rank": URGENCIES.index(finding.urgency),
        "reasons": list(finding.reasons),
        "next_step": finding.next_step,
        "figures_now": dict(finding.figures),
        "laptop_id": subject.laptop_id,
        "site": subject.site,
    }


async def _execute(
    connection: AsyncConnection, statement: Executable, values: list[dict[str, Any]]
) -> None:
    if values:
        await connection.execute(statement, values)
