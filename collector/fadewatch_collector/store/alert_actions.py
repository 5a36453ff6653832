"""What people do with alerts: one statement each, refused when somebody was first."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import AlertKind, AlertState
from fadewatch_collector.store import audit
from fadewatch_collector.store.tables import alerts, operators


@dataclass(frozen=True, slots=True)
class AlertStanding:
    """An alert's state as people change it."""

    id: int
    kind: AlertKind
    state: AlertState
    version: int
    subject: str
    laptop_id: int | None
    planned_on: date | None
    assigned_to: int | None
    changed_at: datetime
    reopened: int
    ended_by: str | None


@dataclass(frozen=True, slots=True)
class Change:
    """The last change of something; ``who`` is None when the collector made it."""

    who: str | None
    at: datetime
    action: str | None


LINES_READ = 100
"""Newest lines of a trail looked at to find the last change. Own choice."""


async def alert_standing(
    connection: AsyncConnection, alert_id: int
) -> AlertStanding | None:
    """Return an alert's state; None when there is no such alert."""
    columns = [alerts.c[name] for name in AlertStanding.__slots__]
    query = select(*columns).where(alerts.c.id == alert_id)
    row = (await connection.execute(query)).first()
    return AlertStanding(*row) if row else None


async def change_alert(
    connection: AsyncConnection,
    alert_id: int,
    version: int,
    now: datetime,
    values: dict[str, Any],
) -> bool:
    """Change an alert if it is still at this version; False when it is not."""
    result = await connection.execute(
        update(alerts)
        .where(alerts.c.id == alert_id, alerts.c.version == version)
        .values(version=version + 1, changed_at=now, **values)
    )
    return result.rowcount == 1


async def end_alerts_of(
    connection: AsyncConnection,
    subject: str,
    because: str,
    who: str,
    now: datetime,
    *,
    kinds: Collection[AlertKind] | None = None,
) -> None:
    """End a subject's alerts (of some kinds) for a person; each trail tells of it."""
    statement = update(alerts).where(
        alerts.c.subject == subject, alerts.c.state != "ended"
    )
    if kinds is not None:
        statement = statement.where(alerts.c.kind.in_(kinds))
    ended = await connection.execute(
        statement.values(
            state="ended",
            ended_at=now,
            ended_because=because,
            ended_by=who,
            changed_at=now,
            version=alerts.c.version + 1,
        ).returning(alerts.c.id)
    )
    for number in sorted(ended.scalars()):
        detail = {"because": because}
        await audit.note(connection, now, who, "ended", f"alert:{number}", detail)


async def last_change(connection: AsyncConnection, alert: AlertStanding) -> Change:
    """Return who changed an alert last, notes left out."""
    lines = await audit.trail_of(connection, [f"alert:{alert.id}"], limit=LINES_READ)
    last = next((line for line in lines if line.action != "note"), None)
    if alert.state == "ended" and alert.ended_by is None:
        return Change(None, alert.changed_at, "ended")
    # A person's word never makes an alert open again, the collector's does.
    reopened = alert.state == "open" and alert.reopened > 0
    if last is None or (reopened and last.at < alert.changed_at):
        return Change(None, alert.changed_at, "opened again" if reopened else None)
    return Change(last.who, last.at, last.action)


async def able_names(connection: AsyncConnection) -> list[str]:
    """Return the names of the operators who may sign in, in order."""
    query = select(operators.c.name).where(operators.c.disabled_at.is_(None))
    return sorted(await connection.scalars(query))


async def operator_id(connection: AsyncConnection, name: str) -> int | None:
    """Return the number of an operator who may sign in."""
    query = select(operators.c.id).where(
        operators.c.name == name, operators.c.disabled_at.is_(None)
    )
    return await connection.scalar(query)
