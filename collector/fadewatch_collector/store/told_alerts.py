"""What messages tell of alerts: the alert, its laptop and its pack in one row."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import Row, Select, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.messages import ToldAlert
from fadewatch_collector.rules.notify import AlertNow
from fadewatch_collector.store.tables import alerts, laptops, packs

BATCH = 1000
"""Alerts asked for at once: a statement takes a limited number of values. Own choice."""


async def told_alerts(
    connection: AsyncConnection, alert_ids: Collection[int]
) -> dict[int, ToldAlert]:
    """Return alerts as messages tell them, by number."""
    numbers = sorted(alert_ids)
    told: dict[int, ToldAlert] = {}
    for start in range(0, len(numbers), BATCH):
        query = _query().where(alerts.c.id.in_(numbers[start : start + BATCH]))
        for row in await connection.execute(query):
            told[row.id] = _told(row)
    return told


def _query() -> Select[Any]:
    return (
        select(
            alerts,
            laptops.c.asset_tag,
            laptops.c.hostname,
            laptops.c.maker.label("laptop_maker"),
            laptops.c.model.label("laptop_model"),
            laptops.c.serial.label("laptop_serial"),
            laptops.c.holder,
            packs.c.maker.label("pack_maker"),
            packs.c.model.label("pack_model"),
            packs.c.serial.label("pack_serial"),
        )
        .select_from(alerts)
        .outerjoin(laptops, laptops.c.id == alerts.c.laptop_id)
        .outerjoin(packs, packs.c.id == alerts.c.pack_id)
    )


async def alert_now(connection: AsyncConnection, alert_id: int) -> AlertNow | None:
    """Return what of an alert decides whether it is still to be told."""
    column = alerts.c
    query = select(column.state, column.urgency, column.reopened)
    row = (await connection.execute(query.where(column.id == alert_id))).one_or_none()
    return None if row is None else AlertNow(*row)


def _told(row: Row[Any]) -> ToldAlert:
    return ToldAlert(
        id=row.id,
        kind=row.kind,
        urgency=row.urgency,
        state=row.state,
        reopened=row.reopened,
        site=row.site,
        opened_at=_moment(row.opened_at),
        planned_on=row.planned_on and row.planned_on.isoformat(),
        reasons=tuple(row.reasons),
        next_step=row.next_step,
        figures=row.figures_now,
        laptop_id=row.laptop_id,
        asset_tag=row.asset_tag,
        hostname=row.hostname,
        laptop_maker=row.laptop_maker,
        laptop_model=row.laptop_model,
        laptop_serial=row.laptop_serial,
        holder=row.holder if row.urgency == "stop-use" else None,
        pack_maker=row.pack_maker,
        pack_model=row.pack_model,
        pack_serial=row.pack_serial,
    )


def _moment(at: datetime) -> str:
    return at.isoformat(timespec="seconds")
