"""Everything about one laptop: its packs now and before, and what changed."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row, Select, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.store.pages import AlertRow, alert_from, select_alerts
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    daily_capacity,
    inventory_changes,
    laptops,
    packs,
    slot_stays,
)
from fadewatch_common.report import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopDetail:
    """One laptop with its newest inventory; memory and drives as reported."""

    id: int
    hostname: str | None
    maker: str | None
    model: str | None
    serial: str | None
    board_uuid: str | None
    chassis: str | None
    site: str | None
    asset_tag: str | None
    holder: str | None
    enrolled_at: datetime
    last_report_at: datetime | None
    last_measured_at: datetime | None
    agent_version: str | None
    platform: str | None
    mains_online: bool | None
    memory_total_mib: int | None
    memory_slots_used: int | None
    memory_slots_free: int | None
    storage_total_bytes: int | None
    memory: dict[str, Any] | None
    drives: list[dict[str, Any]] | None
    remarks: list[str] | None
    inventory_measured_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AssessmentRow:
    """The newest assessment of a pack; wear and fade are fractions."""

    as_of: date
    readings: int
    wear: float | None
    band: Band
    fade_per_month: float | None
    plan_earliest: date | None
    plan_on: date | None
    plan_latest: date | None
    replace_earliest: date | None
    replace_on: date | None
    replace_latest: date | None
    gauge: str | None
    concern: Concern
    reasons: list[str]
    details: dict[str, Any] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackStay:
    """A pack's stay in a slot of the laptop, with the pack and its assessment.

    Attributes
    ----------
    until_at
        When it was gone, or None while it is still there.
    """

    pack_id: int
    slot: str
    from_at: datetime
    stay_seen_at: datetime
    until_at: datetime | None
    maker: str | None
    model: str | None
    serial: str | None
    made_on: date | None
    chemistry: str | None
    unit: Unit
    design_capacity: int | None
    design_voltage_mv: int | None
    full_charge_capacity: int | None
    remaining_capacity: int | None
    cycle_count: int | None
    state: str | None
    voltage_mv: int | None
    temperature_c: float | None
    charge_limit_percent: int | None
    first_seen_at: datetime
    last_seen_at: datetime
    assessment: AssessmentRow | None


@dataclass(frozen=True, slots=True)
class DailyValue:
    """The medians of a pack's plausible readings of one day (UTC)."""

    day: date
    unit: Unit
    design_capacity: float
    full_charge_capacity: float
    cycle_count: int | None
    readings: int


@dataclass(frozen=True, slots=True)
class InventoryChange:
    """One item of the inventory before and after; None is: was not there."""

    measured_at: datetime
    item: str
    before: Any
    after: Any


_ASSESSED = tuple(AssessmentRow.__dataclass_fields__)
_STAYED = tuple(
    name
    for name in PackStay.__dataclass_fields__
    if name not in {"assessment", "stay_seen_at"}
)


async def laptop_detail(
    connection: AsyncConnection, laptop_id: int
) -> LaptopDetail | None:
    """Return one laptop."""
    columns = [laptops.c[name] for name in LaptopDetail.__dataclass_fields__]
    row = (
        await connection.execute(select(*columns).where(laptops.c.id == laptop_id))
    ).one_or_none()
    return None if row is None else LaptopDetail(**row._asdict())


async def pack_stays(connection: AsyncConnection, laptop_id: int) -> list[PackStay]:
    """Return the packs of a laptop: those there now by slot, then the newest first."""
    query = (
        _select_stays()
        .where(slot_stays.c.laptop_id == laptop_id)
        .order_by(
            slot_stays.c.until_at.is_not(None),
            slot_stays.c.until_at.desc(),
            slot_stays.c.slot,
            slot_stays.c.id,
        )
    )
    return [_stay_from(row) for row in await connection.execute(query)]


def _select_stays() -> Select[Any]:
    stayed = [
        (slot_stays.c if name in slot_stays.c and name != "last_seen_at" else packs.c)[
            name
        ]
        for name in _STAYED
    ]
    assessed = [assessments.c[name].label(f"a_{name}") for name in _ASSESSED]
    return (
        select(*stayed, slot_stays.c.last_seen_at.label("stay_seen_at"), *assessed)
        .select_from(slot_stays)
        .join(packs, packs.c.id == slot_stays.c.pack_id)
        .outerjoin(assessments, assessments.c.pack_id == packs.c.id)
    )


def _stay_from(row: Row[Any]) -> PackStay:
    plain = row._asdict()
    assessed = {name: plain.pop(f"a_{name}") for name in _ASSESSED}
    assessment = None if assessed["as_of"] is None else AssessmentRow(**assessed)
    return PackStay(assessment=assessment, **plain)


async def daily_values(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> dict[int, list[DailyValue]]:
    """Return each pack's daily values, oldest first, whichever laptop it was in."""
    series: dict[int, list[DailyValue]] = {pack_id: [] for pack_id in pack_ids}
    rows = await connection.execute(
        select(
            daily_capacity.c.pack_id,
            *(daily_capacity.c[name] for name in DailyValue.__dataclass_fields__),
        )
        .where(daily_capacity.c.pack_id.in_(pack_ids))
        .order_by(daily_capacity.c.pack_id, daily_capacity.c.day)
    )
    for pack_id, *value in rows:
        series[pack_id].append(DailyValue(*value))
    return series


async def changes_of(
    connection: AsyncConnection, laptop_id: int, limit: int
) -> list[InventoryChange]:
    """Return the newest inventory changes of a laptop."""
    rows = await connection.execute(
        select(
            *(
                inventory_changes.c[name]
                for name in InventoryChange.__dataclass_fields__
            )
        )
        .where(inventory_changes.c.laptop_id == laptop_id)
        .order_by(inventory_changes.c.measured_at.desc(), inventory_changes.c.id.desc())
        .limit(limit)
    )
    return [InventoryChange(*row) for row in rows]


async def alerts_of(
    connection: AsyncConnection, laptop_id: int, limit: int
) -> list[AlertRow]:
    """Return a laptop's alerts: those not over by urgency, then the newest."""
    rows = await connection.execute(
        select_alerts()
        .where(alerts.c.laptop_id == laptop_id)
        .order_by(
            alerts.c.ended_at.is_not(None),
            alerts.c.ended_at.desc(),
            alerts.c.urgency_rank,
            alerts.c.opened_at,
            alerts.c.id,
        )
        .limit(limit)
    )
    return [alert_from(row) for row in rows]
