"""Packs in use with their forecasts, for totals over the whole fleet."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from operator import itemgetter
from typing import Any

from sqlalchemy import (
    Column,
    ColumnElement,
    Date,
    Integer,
    Select,
    cast,
    func,
    literal,
    select,
)
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.rules.pack_types import Described
from fadewatch_collector.store.tables import (
    assessments,
    laptops,
    packs,
    removed_packs,
    slot_stays,
)

EPOCH = date(1970, 1, 1)
_EPOCH_JULIAN = 2_440_587.5
"""Julian day number of 1970-01-01 00:00 UTC."""


@dataclass(frozen=True, slots=True)
class DuePacks:
    """Packs that sit in a slot and are not in the register of removed packs.

    A list a column, one entry a pack, in order of pack number; days are counted since
    1970-01-01. None is unknown: no site, not assessed yet, no crossing within ten years.
    """

    id: Sequence[int]
    laptop_id: Sequence[int]
    site: Sequence[str | None]
    maker: Sequence[str | None]
    model: Sequence[str | None]
    unit: Sequence[str]
    design_capacity: Sequence[int | None]
    design_voltage_mv: Sequence[int | None]
    chemistry: Sequence[str | None]
    band: Sequence[str | None]
    concern: Sequence[Concern | None]
    earliest: Sequence[int | None]
    on: Sequence[int | None]
    latest: Sequence[int | None]
    as_of: Sequence[int | None]
    last_seen: Sequence[int]

    def __len__(self) -> int:
        """Count the packs."""
        return len(self.id)


@dataclass(frozen=True, slots=True)
class DueLaptop:
    """The laptop that a pack sits in, and the pack's serial and slot."""

    pack_id: int
    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    holder: str | None
    site: str | None
    slot: str
    pack_serial: str | None
    wear: float | None


async def packs_in_use(connection: AsyncConnection) -> DuePacks:
    """Load packs in use."""
    query = _in_use(is_sqlite=connection.dialect.name == "sqlite")
    rows = (await connection.execute(query)).all()
    # Not zip(*rows): its 100,000 iterators take twice as long.
    return DuePacks(
        *(
            list(map(itemgetter(place), rows))
            for place in range(len(DuePacks.__slots__))
        )
    )


async def described_packs(
    connection: AsyncConnection,
) -> list[tuple[Described, int]]:
    """Return what packs in use say of themselves, with how many say it."""
    what = [packs.c[name] for name in Described.__slots__]
    query = (
        select(*what, func.count())
        .select_from(slot_stays)
        .join(packs, packs.c.id == slot_stays.c.pack_id)
        .where(slot_stays.c.until_at.is_(None), _is_not_removed())
        .group_by(*what)
    )
    return [(Described(*row[:-1]), row[-1]) for row in await connection.execute(query)]


async def due_laptops(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> dict[int, DueLaptop]:
    """Return where some packs sit, by pack."""
    place = laptops.c
    query = (
        select(
            slot_stays.c.pack_id,
            slot_stays.c.laptop_id,
            place.hostname,
            place.asset_tag,
            place.holder,
            place.site,
            slot_stays.c.slot,
            packs.c.serial,
            assessments.c.wear,
        )
        .join(laptops, place.id == slot_stays.c.laptop_id)
        .join(packs, packs.c.id == slot_stays.c.pack_id)
        .outerjoin(assessments, assessments.c.pack_id == packs.c.id)
        .where(slot_stays.c.pack_id.in_(pack_ids), slot_stays.c.until_at.is_(None))
    )
    return {row[0]: DueLaptop(*row) for row in await connection.execute(query)}


def _in_use(*, is_sqlite: bool) -> Select[Any]:
    verdict = assessments.c

    def day(column: Column[Any]) -> ColumnElement[Any]:
        # As numbers: three dates a pack would take a second to make for 100,000 packs.
        if is_sqlite:
            return cast(func.julianday(column) - _EPOCH_JULIAN, Integer)
        return cast(column, Date) - literal(EPOCH, Date)

    return (
        select(
            packs.c.id,
            slot_stays.c.laptop_id,
            laptops.c.site,
            *(packs.c[name] for name in Described.__slots__),
            verdict.band,
            verdict.concern,
            day(verdict.plan_earliest),
            day(verdict.plan_on),
            day(verdict.plan_latest),
            day(verdict.as_of),
            day(packs.c.last_seen_at)
            if is_sqlite
            else cast(func.timezone("UTC", packs.c.last_seen_at), Date)
            - literal(EPOCH, Date),
        )
        .select_from(slot_stays)
        .join(packs, packs.c.id == slot_stays.c.pack_id)
        .join(laptops, laptops.c.id == slot_stays.c.laptop_id)
        .outerjoin(assessments, verdict.pack_id == packs.c.id)
        .where(slot_stays.c.until_at.is_(None), _is_not_removed())
        .order_by(packs.c.id)
    )


def _is_not_removed() -> ColumnElement[bool]:
    return (
        ~select(removed_packs.c.id)
        .where(removed_packs.c.pack_id == packs.c.id)
        .exists()
    )
