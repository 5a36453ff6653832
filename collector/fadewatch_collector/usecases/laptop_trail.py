"""Who did what, when: the trail of an alert and of a laptop."""

from collections.abc import Sequence
from dataclasses import dataclass

from fadewatch_collector.errors import NotFound
from fadewatch_collector.store import audit, laptop_page, pack_page
from fadewatch_collector.store.audit import AuditLine
from fadewatch_collector.store.pages import AlertRow
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services

__all__ = ["AlertRow", "AlertView", "AuditLine", "alert_view", "laptop_trail"]

TRAIL_LINES = 200
"""Newest lines of a trail that are shown [count]. Own choice."""

ALERTS_FOLLOWED = 200
"""Newest alerts whose lines stand in the trail of a laptop or pack. Own choice."""


@dataclass(frozen=True, slots=True)
class AlertView:
    """One alert with its trail, newest line first."""

    alert: AlertRow
    trail: Sequence[AuditLine]


async def alert_view(services: Services, alert_id: int) -> AlertView:
    """Return an alert and what people did with it.

    Raises
    ------
    NotFound
        There is no such alert.
    """
    async with services.store.reading() as connection:
        alert = await pack_page.alert_by_id(connection, alert_id)
        if alert is None:
            raise NotFound("alert", alert_id)
        subject = f"alert:{alert_id}"
        trail = await audit.trail_of(connection, [subject], limit=TRAIL_LINES)
    return AlertView(alert, trail)


async def laptop_trail(services: Services, laptop_id: int) -> list[AuditLine]:
    """Return what was done about a laptop and its alerts, newest line first.

    Raises
    ------
    NotFound
        There is no such laptop.
    """
    async with services.store.reading() as connection:
        if await laptop_page.laptop_detail(connection, laptop_id) is None:
            raise NotFound("laptop", laptop_id)
        known = await laptop_page.alerts_of(connection, laptop_id, ALERTS_FOLLOWED)
        return await trail_with(connection, f"laptop:{laptop_id}", known)


async def trail_with(
    connection: WriteConnection, subject: str, alerts: Sequence[AlertRow]
) -> list[AuditLine]:
    """Return the newest lines about a subject and its alerts."""
    subjects = [subject, *(f"alert:{alert.id}" for alert in alerts)]
    return await audit.trail_of(connection, subjects, limit=TRAIL_LINES)
