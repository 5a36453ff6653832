"""Write messages about alerts, in the transaction of the alerts themselves."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from datetime import datetime, timedelta

from fadewatch_collector.rules.alert_terms import Urgency
from fadewatch_collector.rules.messages import (
    DIGEST_LENGTH,
    ToldAlert,
    in_digest_order,
    stamp,
)
from fadewatch_collector.rules.notify import AT_ONCE, MessageKind, Route
from fadewatch_collector.store import outbox
from fadewatch_collector.store.notification_routes import live_routes
from fadewatch_collector.store.outbox import NewRow
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.told_alerts import told_alerts
from fadewatch_collector.usecases.services import Services

KEEP_DONE = timedelta(days=90)
"""How long it can be looked up what became of a message. Own choice."""

_TOLD_AT_ONCE: Mapping[Urgency, MessageKind] = {"stop-use": "stop-use", "act": "act"}


async def queue_alerts(
    connection: WriteConnection, alert_ids: Collection[int], now: datetime
) -> None:
    """Tell of alerts that opened, opened again or became more urgent.

    The rows stand in the same transaction as the alerts: either both are there after a
    crash, or neither is.
    """
    if not alert_ids:
        return
    routes = await live_routes(connection)
    if not routes:
        return
    told = await told_alerts(connection, alert_ids)
    rows = [
        _row(alert, route, now)
        for alert in told.values()
        for route in routes
        if route.wants(alert.urgency, alert.site)
    ]
    await outbox.add_rows(connection, rows, now)


async def make_digests(services: Services) -> int:
    """Write the day's digest of each route that has something new; returns how many.

    What has ended since, or became so urgent that it was told at once, is left out.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        waiting: dict[int, set[int]] = defaultdict(set)
        for route_id, alert_id in await outbox.take_items(connection):
            waiting[route_id].add(alert_id)
        told = await told_alerts(connection, set().union(*waiting.values()))
        rows = [
            _digest(route, alerts, now)
            for route in await live_routes(connection)
            if (alerts := list(_still_new(told, waiting[route.id])))
        ]
        await outbox.add_rows(connection, rows, now)
        await outbox.forget_done(connection, now - KEEP_DONE)
    return len(rows)


def _still_new(
    told: Mapping[int, ToldAlert], alert_ids: Collection[int]
) -> Iterator[ToldAlert]:
    for alert_id in alert_ids:
        alert = told.get(alert_id)
        if alert and alert.state != "ended" and alert.urgency not in AT_ONCE:
            yield alert


def _row(alert: ToldAlert, route: Route, now: datetime) -> NewRow:
    name = (
        f"alert-{alert.id}.{alert.reopened}.{alert.urgency}.{stamp(now)}"
        f".route-{route.id}"
    )
    what = _TOLD_AT_ONCE.get(alert.urgency)
    if what is None:
        return NewRow(
            route_id=route.id,
            name=name,
            what="item",
            payload={"alert_id": alert.id},
            not_before=now,
        )
    return NewRow(
        route_id=route.id,
        name=name,
        what=what,
        payload={"alerts": [alert.to_plain()], "more": 0},
        not_before=route.not_before(what, now),
    )


def _digest(route: Route, alerts: Collection[ToldAlert], now: datetime) -> NewRow:
    listed = in_digest_order(alerts)[:DIGEST_LENGTH]
    return NewRow(
        route_id=route.id,
        name=f"digest.{stamp(now)}.route-{route.id}",
        what="digest",
        payload={
            "alerts": [alert.to_plain() for alert in listed],
            "more": len(alerts) - len(listed),
        },
        not_before=route.not_before("digest", now),
    )
