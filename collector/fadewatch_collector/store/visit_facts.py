"""What visit sheets are made from, for some laptops at once."""

from collections.abc import Collection
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.visit_facts import FittedPack, OpenAlert, VisitedLaptop
from fadewatch_collector.store.tables import (
    alerts,
    assessments,
    laptops,
    packs,
    slot_stays,
)

_OF_LAPTOP = tuple(
    name
    for name in VisitedLaptop.__dataclass_fields__
    if name not in {"packs", "alerts"}
)
_ASSESSED = (
    "wear",
    "band",
    "concern",
    "plan_earliest",
    "plan_on",
    "plan_latest",
    "replace_on",
    "reasons",
)


async def visited_laptops(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> dict[int, VisitedLaptop]:
    """Return laptops with the packs they carry and the alerts that have not ended.

    Three queries, however many laptops.
    """
    query = select(*(laptops.c[name] for name in _OF_LAPTOP)).where(
        laptops.c.id.in_(laptop_ids)
    )
    rows = (await connection.execute(query)).all()
    fitted = await _packs(connection, laptop_ids)
    waiting = await _alerts(connection, laptop_ids)
    return {
        row.id: VisitedLaptop(
            packs=fitted.get(row.id, ()),
            alerts=waiting.get(row.id, ()),
            **row._asdict(),
        )
        for row in rows
    }


async def _packs(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> dict[int, list[FittedPack]]:
    of_pack = (
        "maker",
        "model",
        "serial",
        "chemistry",
        "unit",
        "design_capacity",
        "design_voltage_mv",
        "full_charge_capacity",
        "cycle_count",
    )
    query = (
        select(
            slot_stays.c.laptop_id,
            slot_stays.c.pack_id,
            slot_stays.c.slot,
            *(packs.c[name] for name in of_pack),
            *(assessments.c[name] for name in _ASSESSED),
        )
        .join(packs, packs.c.id == slot_stays.c.pack_id)
        .outerjoin(assessments, assessments.c.pack_id == slot_stays.c.pack_id)
        .where(slot_stays.c.laptop_id.in_(laptop_ids), slot_stays.c.until_at.is_(None))
        .order_by(slot_stays.c.laptop_id, slot_stays.c.slot)
    )
    fitted: dict[int, list[FittedPack]] = {}
    for row in await connection.execute(query):
        fitted.setdefault(row.laptop_id, []).append(_pack(row))
    return fitted


def _pack(row: Row[Any]) -> FittedPack:
    plain = row._asdict()
    del plain["laptop_id"]
    # Not assessed yet: nothing is known, and nothing is said of it.
    plain["band"] = plain["band"] or "unknown"
    plain["concern"] = plain["concern"] or "none"
    plain["reasons"] = plain["reasons"] or ()
    return FittedPack(**plain)


async def _alerts(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> dict[int, list[OpenAlert]]:
    names = tuple(OpenAlert.__dataclass_fields__)
    query = (
        select(alerts.c.laptop_id, *(alerts.c[name] for name in names))
        .where(alerts.c.laptop_id.in_(laptop_ids), alerts.c.state != "ended")
        .order_by(alerts.c.laptop_id, alerts.c.urgency_rank, alerts.c.id)
    )
    waiting: dict[int, list[OpenAlert]] = {}
    for laptop_id, *values in await connection.execute(query):
        known = dict(zip(names, values, strict=True))
        waiting.setdefault(laptop_id, []).append(OpenAlert(**known))
    return waiting
