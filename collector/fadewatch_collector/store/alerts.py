"""Rows of alerts: what stands, and how it changes."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import insert, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import URGENCIES, AlertKind
from fadewatch_collector.rules.alerting import Finding, Standing
from fadewatch_collector.store.tables import alerts, laptops


@dataclass(frozen=True, slots=True)
class Subject:
    """What an alert is about: a laptop, or a pack and the laptop it is in."""

    laptop_id: int | None
    pack_id: int | None
    site: str | None

    @property
    def name(self) -> str:
        """Return the subject in one text, as the table keeps it."""
        if self.pack_id is not None:
            return f"pack:{self.pack_id}"
        return f"laptop:{self.laptop_id}"


async def standing_alerts(
    connection: AsyncConnection, subjects: Collection[str], kinds: Collection[AlertKind]
) -> dict[str, list[Standing]]:
    """Return the alerts of the subjects that have not ended, by subject."""
    column = alerts.c
    query = select(
        column.subject,
        column.id,
        column.kind,
        column.urgency,
        column.reasons,
        column.next_step,
    ).where(
        column.subject.in_(subjects),
        column.kind.in_(kinds),
        column.state != "ended",
    )
    found: dict[str, list[Standing]] = defaultdict(list)
    for subject, number, kind, urgency, reasons, step in await connection.execute(
        query
    ):
        found[subject].append(Standing(number, kind, urgency, tuple(reasons), step))
    return dict(found)


async def open_alert(
    connection: AsyncConnection, subject: Subject, finding: Finding, now: datetime
) -> None:
    """Open an alert for a finding."""
    figures = dict(finding.figures)
    await connection.execute(
        insert(alerts).values(
            kind=finding.kind,
            urgency=finding.urgency,
            urgency_rank=URGENCIES.index(finding.urgency),
            state="open",
            subject=subject.name,
            laptop_id=subject.laptop_id,
            pack_id=subject.pack_id,
            site=subject.site,
            opened_at=now,
            changed_at=now,
            reasons=list(finding.reasons),
            next_step=finding.next_step,
            figures_opened=figures,
            figures_now=figures,
        )
    )


async def update_alert(
    connection: AsyncConnection,
    alert: Standing,
    subject: Subject,
    finding: Finding,
    now: datetime,
) -> None:
    """Bring an alert's reasons and figures up to date."""
    values: dict[str, object] = {
        "reasons": list(finding.reasons),
        "next_step": finding.next_step,
        "figures_now": dict(finding.figures),
        "laptop_id": subject.laptop_id,
        "site": subject.site,
    }
    if finding.urgency != alert.urgency:
        values |= {
            "urgency": finding.urgency,
            "urgency_rank": URGENCIES.index(finding.urgency),
            "changed_at": now,
        }
    await connection.execute(
        update(alerts).where(alerts.c.id == alert.id).values(**values)
    )


async def end_alerts(
    connection: AsyncConnection, ids: Sequence[int], because: str, now: datetime
) -> None:
    """End alerts with a reason."""
    await connection.execute(
        update(alerts)
        .where(alerts.c.id.in_(ids))
        .values(state="ended", ended_at=now, changed_at=now, ended_because=because)
    )


async def silent_laptops(
    connection: AsyncConnection, now: datetime, silent_days: int
) -> list[tuple[Subject, datetime | None]]:
    """Return laptops without a report for the given days, with their last report."""
    column = laptops.c
    limit = now - timedelta(days=silent_days)
    heard = column.last_report_at
    query = select(column.id, column.site, heard).where(
        (heard < limit) | (heard.is_(None) & (column.enrolled_at < limit))
    )
    return [
        (Subject(laptop_id, None, site), last)
        for laptop_id, site, last in await connection.execute(query)
    ]


async def laptops_called_silent(connection: AsyncConnection) -> list[int]:
    """Return laptops with a silent alert that has not ended."""
    query = select(alerts.c.laptop_id).where(
        alerts.c.kind == "silent", alerts.c.state != "ended"
    )
    return [int(i) for i in (await connection.execute(query)).scalars() if i]
