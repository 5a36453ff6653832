"""What people do with alerts: one statement each, refused when somebody was first."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import AlertKind, AlertState
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
    """End a subject's alerts (of some kinds) for a person."""
    statement = update(alerts).where(
        alerts.c.subject == subject, alerts.c.state != "ended"
    )
    if kinds is not None:
        statement = statement.where(alerts.c.kind.in_(kinds))
    await connection.execute(
        statement.values(
            state="ended",
            ended_at=now,
            ended_because=because,
            ended_by=who,
            changed_at=now,
            version=alerts.c.version + 1,
        )
    )


async def operator_id(connection: AsyncConnection, name: str) -> int | None:
    """Return the number of an operator who may sign in."""
    query = select(operators.c.id).where(
        operators.c.name == name, operators.c.disabled_at.is_(None)
    )
    return await connection.scalar(query)
