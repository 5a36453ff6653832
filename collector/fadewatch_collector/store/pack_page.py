"""Packs for people and programs: a list, and everything about one."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, exists, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.store.laptop_page import AssessmentRow
from fadewatch_collector.store.pages import AlertRow, alert_from, select_alerts
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    laptops,
    packs,
    slot_stays,
)
from fadewatch_common.report import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class PackFilter:
    """Which packs a list shows; None is: all of them.

    Attributes
    ----------
    fitted
        Only packs that sit in a laptop now, or only those that do not.
    site
        Of the laptop that they sit in.
    """

    site: str | None = None
    fitted: bool | None = None
    band: Band | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackPlace:
    """A pack's stay in a slot of a laptop; no end: it is there now."""

    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    site: str | None
    slot: str
    from_at: datetime
    until_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackRow:
    """One pack of the pack list; wear is a fraction."""

    id: int
    maker: str | None
    model: str | None
    serial: str | None
    made_on: date | None
    chemistry: str | None
    unit: Unit
    design_capacity: int | None
    full_charge_capacity: int | None
    cycle_count: int | None
    last_seen_at: datetime
    wear: float | None
    band: Band
    concern: Concern | None
    place: PackPlace | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackDetail:
    """One pack as last read, with its newest assessment."""

    id: int
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


_OF_PACK = tuple(name for name in PackDetail.__slots__ if name != "assessment")
_LISTED = tuple(name for name in PackRow.__slots__ if name in packs.c)
_ASSESSED = tuple(AssessmentRow.__slots__)


async def pack_rows(
    connection: AsyncConnection,
    wanted: PackFilter,
    *,
    after: int | None,
    limit: int,
) -> list[PackRow]:
    """Return packs in the order of their numbers, with where they are now.

    Parameters
    ----------
    after
        Number of the pack after which the list goes on.
    """
    query: Select[Any] = (
        select(
            *(packs.c[name] for name in _LISTED),
            assessments.c.wear,
            assessments.c.band,
            assessments.c.concern,
        )
        .outerjoin(assessments, assessments.c.pack_id == packs.c.id)
        .where(*_conditions(wanted))
        .order_by(packs.c.id)
        .limit(limit)
    )
    if after is not None:
        query = query.where(packs.c.id > after)
    rows = (await connection.execute(query)).all()
    places = await _places_now(connection, [row.id for row in rows])
    return [_pack_row(row, places.get(row.id)) for row in rows]


def _conditions(wanted: PackFilter) -> list[ColumnElement[bool]]:
    conditions: list[ColumnElement[bool]] = []
    here = exists().where(
        slot_stays.c.pack_id == packs.c.id, slot_stays.c.until_at.is_(None)
    )
    if wanted.fitted is not None:
        conditions.append(here if wanted.fitted else ~here)
    if wanted.site is not None:
        conditions.append(
            here.where(
                laptops.c.id == slot_stays.c.laptop_id, laptops.c.site == wanted.site
            )
        )
    if wanted.band == "unknown":
        conditions.append(
            assessments.c.band.is_(None) | (assessments.c.band == wanted.band)
        )
    elif wanted.band is not None:
        conditions.append(assessments.c.band == wanted.band)
    return conditions


def _pack_row(row: Row[Any], place: PackPlace | None) -> PackRow:
    known = row._asdict()
    known["band"] = known["band"] or "unknown"
    return PackRow(place=place, **known)


def _select_places() -> Select[Any]:
    stay = slot_stays.c
    return select(
        stay.pack_id,
        stay.laptop_id,
        laptops.c.hostname,
        laptops.c.asset_tag,
        laptops.c.site,
        stay.slot,
        stay.from_at,
        stay.until_at,
    ).join(laptops, laptops.c.id == stay.laptop_id)


def _place(row: Row[Any]) -> PackPlace:
    known = row._asdict()
    del known["pack_id"]
    return PackPlace(**known)


async def _places_now(
    connection: AsyncConnection, pack_ids: list[int]
) -> dict[int, PackPlace]:
    query = _select_places().where(
        slot_stays.c.pack_id.in_(pack_ids), slot_stays.c.until_at.is_(None)
    )
    return {row.pack_id: _place(row) for row in await connection.execute(query)}


async def pack_detail(connection: AsyncConnection, pack_id: int) -> PackDetail | None:
    """Return one pack."""
    query = (
        select(
            *(packs.c[name] for name in _OF_PACK),
            *(assessments.c[name].label(f"a_{name}") for name in _ASSESSED),
        )
        .outerjoin(assessments, assessments.c.pack_id == packs.c.id)
        .where(packs.c.id == pack_id)
    )
    row = (await connection.execute(query)).one_or_none()
    if row is None:
        return None
    known = row._asdict()
    assessed = {name: known.pop(f"a_{name}") for name in _ASSESSED}
    made = None if assessed["as_of"] is None else AssessmentRow(**assessed)
    return PackDetail(assessment=made, **known)


async def places_of(connection: AsyncConnection, pack_id: int) -> list[PackPlace]:
    """Return where a pack was: now first, then the newest stay."""
    query = (
        _select_places()
        .where(slot_stays.c.pack_id == pack_id)
        .order_by(
            slot_stays.c.until_at.is_not(None),
            slot_stays.c.from_at.desc(),
            slot_stays.c.id,
        )
    )
    return [_place(row) for row in await connection.execute(query)]


async def alerts_of_pack(
    connection: AsyncConnection, pack_id: int, limit: int
) -> list[AlertRow]:
    """Return a pack's alerts: those not over by urgency, then the newest."""
    query = (
        select_alerts()
        .where(alerts.c.pack_id == pack_id)
        .order_by(
            alerts.c.ended_at.is_not(None),
            alerts.c.ended_at.desc(),
            alerts.c.urgency_rank,
            alerts.c.opened_at,
            alerts.c.id,
        )
        .limit(limit)
    )
    return [alert_from(row) for row in await connection.execute(query)]


async def alert_by_id(connection: AsyncConnection, alert_id: int) -> AlertRow | None:
    """Return one alert with its laptop and pack."""
    query = select_alerts().where(alerts.c.id == alert_id)
    row = (await connection.execute(query)).one_or_none()
    return None if row is None else alert_from(row)
