"""What must hold in every store, told as queries that find what breaks it.

A constraint of the database keeps some of it already; it is asked all the same, since
a damaged index keeps nothing.
"""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    ColumnElement,
    DateTime,
    Select,
    Table,
    Text,
    cast,
    exists,
    func,
    or_,
    select,
)
from sqlalchemy.dialects.postgresql import JSONB

from fadewatch_collector.store.retention import READINGS_KEPT_FROM
from fadewatch_collector.store.tables import (
    alerts,
    daily_capacity,
    daily_charging,
    filing_queue,
    packs,
    readings,
    reports,
    slot_stays,
    store_values,
    unreadable_reports,
)

Invariants = Mapping[str, Select[Any]]
"""A sentence on what was found, and the query for the keys of what breaks it."""


def invariants(dialect: str) -> Invariants:
    """Return what must hold in a store of the newest schema."""
    report, stay, alert = reports.c, slot_stays.c, alerts.c
    return {
        "filed reports with packs but without a reading or a reason": select(
            report.report_id
        ).where(
            _carries_packs(dialect),
            # Readings of before may be deleted, when their report came very late.
            _is_measured_since_all_is_kept(dialect),
            *(
                ~exists().where(other.c.report_id == report.report_id)
                for other in (filing_queue, unreadable_reports, readings)
            ),
        ),
        "places in the filing queue that point to no report": _orphans(
            filing_queue, "report_id", reports
        ),
        "reports in the filing queue more than once": select(filing_queue.c.report_id)
        .group_by(filing_queue.c.report_id)
        .having(func.count() > 1),
        "readings of another laptop than their report": select(readings.c.report_id)
        .join(reports, report.report_id == readings.c.report_id)
        .where(report.laptop_id != readings.c.laptop_id),
        "slots with more than one pack in them now": select(stay.laptop_id, stay.slot)
        .where(stay.until_at.is_(None))
        .group_by(stay.laptop_id, stay.slot)
        .having(func.count() > 1),
        "packs that sit in more than one slot now": select(stay.pack_id)
        .where(stay.until_at.is_(None))
        .group_by(stay.pack_id)
        .having(func.count() > 1),
        "stays that end before they begin": select(stay.id).where(
            or_(stay.until_at < stay.from_at, stay.last_seen_at < stay.from_at)
        ),
        "matters with more than one open alert of a kind": select(
            alert.subject, alert.kind
        )
        .where(alert.state != "ended")
        .group_by(alert.subject, alert.kind)
        .having(func.count() > 1),
        "daily capacities of no pack": _orphans(daily_capacity, "pack_id", packs),
        "daily charging counts of no pack": _orphans(daily_charging, "pack_id", packs),
    }


def _orphans(of: Table, name: str, parent: Table) -> Select[Any]:
    (key,) = parent.primary_key.columns
    query: Select[Any] = (
        select(of.c[name]).distinct().where(~exists().where(key == of.c[name]))
    )
    return query


def _is_measured_since_all_is_kept(dialect: str) -> ColumnElement[bool]:
    # SQLite keeps moments as texts that begin alike; PostgreSQL must be told.
    kind = Text() if dialect == "sqlite" else DateTime(timezone=True)
    kept_from = (
        select(cast(store_values.c.value, kind))
        .where(store_values.c.name == READINGS_KEPT_FROM)
        .scalar_subquery()
    )
    measured_at = cast(reports.c.measured_at, kind)
    return or_(kept_from.is_(None), measured_at >= kept_from)


def _carries_packs(dialect: str) -> ColumnElement[bool]:
    if dialect == "sqlite":
        return func.json_array_length(reports.c.body, "$.packs") > 0
    return func.jsonb_array_length(cast(reports.c.body, JSONB)["packs"]) > 0
