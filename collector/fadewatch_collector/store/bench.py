"""What a bench check asks of the store, for some laptops at a time."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row, func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import LIVE_STATES
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    laptops,
    packs,
    readings,
    slot_stays,
)

STAYS_A_SLOT = 2
"""Stays looked at in each slot: the newest, and the one before it [count]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchLaptop:
    """A laptop with its newest inventory; memory and drives as reported."""

    id: int
    hostname: str | None
    asset_tag: str | None
    site: str | None
    holder: str | None
    maker: str | None
    model: str | None
    serial: str | None
    enrolled_at: datetime
    last_report_at: datetime | None
    last_measured_at: datetime | None
    mains_online: bool | None
    memory: dict[str, Any] | None
    drives: list[dict[str, Any]] | None
    remarks: list[str] | None


@dataclass(frozen=True, slots=True)
class OpenMatter:
    """An alert that is not over; without a pack it is about the whole laptop."""

    laptop_id: int
    pack_id: int | None
    kind: str
    urgency: str
    reasons: list[str]


_LAPTOP = tuple(BenchLaptop.__dataclass_fields__)
_PACK = (
    "maker",
    "model",
    "serial",
    "made_on",
    "chemistry",
    "unit",
    "design_capacity",
    "design_voltage_mv",
    "full_charge_capacity",
    "remaining_capacity",
    "cycle_count",
    "state",
    "voltage_mv",
    "temperature_c",
    "charge_limit_percent",
)
_ASSESSED = (
    "as_of",
    "readings",
    "wear",
    "gauge",
    "concern",
    "fade_per_month",
    "fade_source",
    "plan_earliest",
    "plan_on",
    "plan_latest",
    "replace_on",
    "reasons",
)


async def bench_laptops(
    connection: AsyncConnection, *, site: str | None, after: int | None, limit: int
) -> list[BenchLaptop]:
    """Return laptops in the order of their numbers."""
    query = select(*(laptops.c[name] for name in _LAPTOP)).order_by(laptops.c.id)
    if site is not None:
        query = query.where(laptops.c.site == site)
    if after is not None:
        query = query.where(laptops.c.id > after)
    rows = await connection.execute(query.limit(limit))
    return [BenchLaptop(**row._asdict()) for row in rows]


async def bench_laptop(
    connection: AsyncConnection, laptop_id: int
) -> BenchLaptop | None:
    """Return one laptop."""
    columns = (laptops.c[name] for name in _LAPTOP)
    query = select(*columns).where(laptops.c.id == laptop_id)
    row = (await connection.execute(query)).one_or_none()
    return None if row is None else BenchLaptop(**row._asdict())


async def bench_stays(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> Sequence[Row[Any]]:
    """Return the newest two stays of each slot, the newest first.

    Each row has ``laptop_id``, ``slot``, ``pack_id``, ``from_at``, ``stay_seen_at``,
    ``until_at``, the pack's columns, and those of its assessment after ``a_``.
    """
    stay = slot_stays.c
    place = func.row_number().over(
        partition_by=(stay.laptop_id, stay.slot),
        order_by=(stay.until_at.is_(None).desc(), stay.from_at.desc(), stay.id.desc()),
    )
    newest = (
        select(stay.id, place.label("place"))
        .where(stay.laptop_id.in_(laptop_ids))
        .subquery()
    )
    query = (
        select(
            stay.laptop_id,
            stay.slot,
            stay.pack_id,
            stay.from_at,
            stay.last_seen_at.label("stay_seen_at"),
            stay.until_at,
            *(packs.c[name] for name in _PACK),
            *(assessments.c[name].label(f"a_{name}") for name in _ASSESSED),
        )
        .select_from(newest)
        .join(slot_stays, stay.id == newest.c.id)
        .join(packs, packs.c.id == stay.pack_id)
        .outerjoin(assessments, assessments.c.pack_id == packs.c.id)
        .where(newest.c.place <= STAYS_A_SLOT)
        .order_by(stay.laptop_id, stay.slot, newest.c.place)
    )
    return (await connection.execute(query)).all()


async def charged_on(
    connection: AsyncConnection, pack_ids: Collection[int], since: datetime
) -> dict[int, date]:
    """Return the last day since then on which packs were seen charging or full."""
    column = readings.c
    query = (
        select(column.pack_id, func.max(column.measured_at).label("at"))
        .where(
            column.pack_id.in_(pack_ids),
            column.measured_at >= since,
            column.state.in_(("charging", "full")),
        )
        .group_by(column.pack_id)
    )
    return {row.pack_id: row.at.date() for row in await connection.execute(query)}


async def open_matters(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> list[OpenMatter]:
    """Return the alerts of laptops that are not over, most urgent first."""
    column = alerts.c
    query = (
        select(
            column.laptop_id,
            column.pack_id,
            column.kind,
            column.urgency,
            column.reasons,
        )
        .where(column.laptop_id.in_(laptop_ids), column.state.in_(LIVE_STATES))
        .order_by(column.urgency_rank, column.id)
    )
    return [OpenMatter(*row) for row in await connection.execute(query)]
