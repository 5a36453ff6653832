"""Rows of swaps: what took what's place, and what is known to judge it."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import Row, Select, and_, exists, func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.swap_verdict import Arrival, PackKind, Verdict
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.retention import readings_kept_from
from fadewatch_collector.store.tables import (
    laptops,
    packs,
    readings,
    slot_stays,
    swaps,
)
from fadewatch_common.wear import is_plausible, wear

ARRIVAL_READINGS = 50
"""First readings of a new pack that its swap is judged by. Own choice."""


SwapState = Literal["to confirm", "confirmed", "rejected"]

_OLD, _NEW = packs.alias("old_pack"), packs.alias("new_pack")


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapDetail:
    """A swap as people see it: the laptop, both packs, what is said and decided."""

    id: int
    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    laptop_maker: str | None
    laptop_model: str | None
    laptop_serial: str | None
    site: str | None
    slot: str
    at: datetime
    old_pack_id: int
    old_maker: str | None
    old_model: str | None
    old_serial: str | None
    new_pack_id: int
    new_maker: str | None
    new_model: str | None
    new_serial: str | None
    state: SwapState
    wrong: Sequence[str]
    remarks: Sequence[str]
    decided_at: datetime | None
    decided_by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapFilter:
    """Which swaps a list shows; None is: all of them."""

    state: SwapState | None = None
    laptop_id: int | None = None
    pack_id: int | None = None


@dataclass(frozen=True, slots=True)
class SwapRow:
    """A swap that waits for a person, with both packs."""

    id: int
    laptop_id: int
    slot: str
    at: datetime
    old_pack_id: int
    new_pack_id: int
    site: str | None
    laptop_maker: str | None
    laptop_model: str | None

    @property
    def subject(self) -> Subject:
        """Return what its alert is about: the new pack."""
        return Subject(self.laptop_id, self.new_pack_id, self.site)


async def swaps_to_judge(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> list[SwapRow]:
    """Return the swaps to confirm whose new pack is one of these."""
    column = swaps.c
    query = (
        select(
            column.id,
            column.laptop_id,
            column.slot,
            column.at,
            column.old_pack_id,
            column.new_pack_id,
            laptops.c.site,
            laptops.c.maker,
            laptops.c.model,
        )
        .join(laptops, laptops.c.id == column.laptop_id)
        .where(column.state == "to confirm", column.new_pack_id.in_(pack_ids))
        .order_by(column.id)
    )
    return [SwapRow(*row) for row in await connection.execute(query)]


async def pack_kinds(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> dict[int, PackKind]:
    """Return what makes packs of one type, by pack."""
    column = packs.c
    query = select(
        column.id,
        column.maker,
        column.model,
        column.unit,
        column.design_capacity,
        column.design_voltage_mv,
    ).where(column.id.in_(pack_ids))
    return {
        row.id: PackKind(
            maker=row.maker,
            model=row.model,
            unit=row.unit,
            design_capacity=row.design_capacity,
            design_voltage_mv=row.design_voltage_mv,
        )
        for row in await connection.execute(query)
    }


async def arrival_of(connection: AsyncConnection, swap: SwapRow) -> Arrival | None:
    """Return what the new pack's first readings in its place say.

    None when they were deleted, being old: later ones do not tell how it arrived.
    """
    column = readings.c
    query = (
        select(
            column.measured_at,
            column.state,
            column.remaining_capacity,
            column.full_charge_capacity,
            column.design_capacity,
            column.cycle_count,
            column.mains_online,
        )
        .where(
            column.pack_id == swap.new_pack_id,
            column.laptop_id == swap.laptop_id,
            column.measured_at >= swap.at,
        )
        .order_by(column.measured_at)
        .limit(ARRIVAL_READINGS)
    )
    rows = (await connection.execute(query)).all()
    kept_from = await readings_kept_from(connection)
    is_old = kept_from is not None and swap.at < kept_from
    # What is old is there still when its month is not over.
    if is_old and (not rows or rows[0].measured_at != swap.at):
        return None
    charges = [charge for row in rows if (charge := _charge(row)) is not None]
    wears = [
        wear(row.full_charge_capacity, row.design_capacity)
        for row in rows
        if is_plausible(row.full_charge_capacity, row.design_capacity)
    ]
    cycles = [row.cycle_count for row in rows if row.cycle_count is not None]
    return Arrival(
        charge_percent=charges[0] if charges else None,
        wear=wears[0] if wears else None,
        cycle_count=min(cycles, default=None),
        states=tuple(row.state for row in rows),
        charges_percent=tuple(charges),
        on_mains=any(row.mains_online for row in rows),
    )


def _charge(row: Any) -> float | None:
    if row.remaining_capacity is None or not row.full_charge_capacity:
        return None
    return float(100 * row.remaining_capacity / row.full_charge_capacity)


async def laptops_with_type(
    connection: AsyncConnection, swap: SwapRow, kind: PackKind
) -> int:
    """Count other laptops of the same model that carry packs of this type.

    A pack that came by a swap which nobody confirmed is no witness: it may be as wrong.
    """
    stay = slot_stays.c
    query = (
        select(func.count(func.distinct(stay.laptop_id)))
        .join(packs, packs.c.id == stay.pack_id)
        .join(laptops, laptops.c.id == stay.laptop_id)
        .where(
            stay.until_at.is_(None),
            stay.laptop_id != swap.laptop_id,
            laptops.c.maker == swap.laptop_maker,
            laptops.c.model == swap.laptop_model,
            packs.c.maker == kind.maker,
            packs.c.model == kind.model,
            packs.c.id.not_in(_unconfirmed()),
        )
    )
    return (await connection.scalar(query)) or 0


async def carried_before(
    connection: AsyncConnection, swap: SwapRow, kind: PackKind
) -> bool:
    """Say whether the laptop carried a pack of this type before the one removed."""
    stay = slot_stays.c
    query = (
        select(stay.id)
        .join(packs, packs.c.id == stay.pack_id)
        .where(
            stay.laptop_id == swap.laptop_id,
            stay.from_at < swap.at,
            stay.pack_id.not_in({swap.old_pack_id, swap.new_pack_id}),
            packs.c.maker == kind.maker,
            packs.c.model == kind.model,
            packs.c.id.not_in(_unconfirmed()),
        )
        .limit(1)
    )
    return await connection.scalar(query) is not None


def _unconfirmed() -> Select[Any]:
    return select(swaps.c.new_pack_id).where(swaps.c.state != "confirmed")


async def keep_verdict(
    connection: AsyncConnection, swap_id: int, verdict: Verdict
) -> None:
    """Keep what is said of a swap."""
    await connection.execute(
        update(swaps)
        .where(swaps.c.id == swap_id)
        .values(wrong=list(verdict.wrong), remarks=list(verdict.remarks))
    )


async def swap_by_id(connection: AsyncConnection, swap_id: int) -> SwapDetail | None:
    """Return one swap."""
    query = _select_swaps().where(swaps.c.id == swap_id)
    row = (await connection.execute(query)).first()
    return _detail(row) if row else None


async def decide_swap(
    connection: AsyncConnection, swap_id: int, state: str, who: str, now: datetime
) -> bool:
    """Set what a person decided; False when somebody did already."""
    result = await connection.execute(
        update(swaps)
        .where(and_(swaps.c.id == swap_id, swaps.c.state == "to confirm"))
        .values(state=state, decided_at=now, decided_by=who)
    )
    return result.rowcount == 1


async def sits_somewhere(connection: AsyncConnection, pack_id: int) -> bool:
    """Say whether a pack sits in a laptop now."""
    stay = slot_stays.c
    query = select(exists().where(stay.pack_id == pack_id, stay.until_at.is_(None)))
    return bool(await connection.scalar(query))


async def swaps_before(
    connection: AsyncConnection,
    wanted: SwapFilter,
    *,
    before: int | None,
    limit: int,
) -> list[SwapDetail]:
    """Return swaps, the one seen last first, from a swap's number on."""
    query = _select_swaps().order_by(swaps.c.id.desc()).limit(limit)
    if wanted.state is not None:
        query = query.where(swaps.c.state == wanted.state)
    if wanted.laptop_id is not None:
        query = query.where(swaps.c.laptop_id == wanted.laptop_id)
    if wanted.pack_id is not None:
        either = (swaps.c.old_pack_id == wanted.pack_id) | (
            swaps.c.new_pack_id == wanted.pack_id
        )
        query = query.where(either)
    if before is not None:
        query = query.where(swaps.c.id < before)
    return [_detail(row) for row in await connection.execute(query)]


def _select_swaps() -> Select[Any]:
    column = swaps.c
    names = ("maker", "model", "serial")
    return (
        select(
            *(column[name] for name in SwapDetail.__slots__ if name in column),
            laptops.c.hostname,
            laptops.c.asset_tag,
            laptops.c.site,
            *(laptops.c[name].label(f"laptop_{name}") for name in names),
            *(_OLD.c[name].label(f"old_{name}") for name in names),
            *(_NEW.c[name].label(f"new_{name}") for name in names),
        )
        .join(laptops, laptops.c.id == column.laptop_id)
        .join(_OLD, _OLD.c.id == column.old_pack_id)
        .join(_NEW, _NEW.c.id == column.new_pack_id)
    )


def _detail(row: Row[Any]) -> SwapDetail:
    return SwapDetail(**row._asdict())
