"""Histories of packs for the analysis, and what it says of them."""

from array import array
from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.rules.assessment import Assessment
from fadewatch_collector.rules.pack_types import pool_name
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.daily_series import (
    DailySeries,
    load_series,
    packs_in_two_units,
)
from fadewatch_collector.store.raw_rows import EPOCH_ORDINAL
from fadewatch_collector.store.tables import (
    assessments,
    daily_capacity,
    laptops,
    packs,
    slot_stays,
)

OWN_HISTORY = "own history"
AT_ONCE = 5_000
"""Rows read at a time [count]. Own choice."""


@dataclass(frozen=True, slots=True)
class FittedPack:
    """A pack, where it is, and what the analysis wants to know beside its history."""

    id: int
    subject: Subject
    pack_type: str
    laptop_maker: str | None
    laptop_model: str | None
    is_in_slot: bool
    made_on: date | None
    first_seen_on: date
    hottest_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptAssessment:
    """An assessment with what is kept beside it.

    Attributes
    ----------
    own_fade_per_month
        What the pack's own history shows, nothing borrowed [fraction a month].
    plan_wear, replace_wear
        The thresholds that its crossings are of.
    """

    pack_id: int
    said: Assessment
    fade_source: str
    own_fade_per_month: float | None
    plan_wear: float
    replace_wear: float


async def pack_ids_after(
    connection: AsyncConnection, after: int, limit: int
) -> list[int]:
    """Return the next packs by number: a walk over all of them in steps."""
    query = (
        select(packs.c.id).where(packs.c.id > after).order_by(packs.c.id).limit(limit)
    )
    return list((await connection.execute(query)).scalars())


async def load_histories(
    connection: AsyncConnection, pack_ids: Sequence[int]
) -> Histories:
    """Load the daily values of packs; a driver's change of unit does not cut them."""
    mixed = await packs_in_two_units(connection, pack_ids)
    apart = set(mixed)
    plain = await load_series(
        connection, [pack_id for pack_id in pack_ids if pack_id not in apart]
    )
    series = [plain, await _load_mixed(connection, mixed)] if mixed else [plain]
    numbers = np.array(pack_ids, dtype=np.int64)
    order = np.argsort(numbers)

    def joined(column: str) -> NDArray[Any]:
        return np.concatenate([getattr(part, column) for part in series])

    return Histories.from_rows(
        [str(pack_id) for pack_id in pack_ids],
        pack=order[np.searchsorted(numbers[order], joined("pack"))],
        day=joined("day"),
        full=joined("full"),
        design=joined("design"),
        cycles=joined("cycles"),
    )


async def _load_mixed(
    connection: AsyncConnection, pack_ids: Sequence[int]
) -> DailySeries:
    column = daily_capacity.c
    query = select(
        column.pack_id,
        column.day,
        column.full_charge_capacity,
        column.design_capacity,
        column.cycle_count,
        column.unit,
    ).where(column.pack_id.in_(pack_ids))
    rows = _in_one_unit((await connection.execute(query)).all())
    return DailySeries(
        pack=np.array([row[0] for row in rows], dtype=np.int64),
        day=np.array([row[1].toordinal() - EPOCH_ORDINAL for row in rows]),
        full=np.array([row[2] for row in rows], dtype=np.float64),
        design=np.array([row[3] for row in rows], dtype=np.float64),
        cycles=np.array([row[4] for row in rows], dtype=np.float64),
    )


def _in_one_unit(rows: Sequence[Any]) -> list[Sequence[Any]]:
    """Bring each pack's rows into the unit of most of them: wear stays what it is."""
    units: dict[int, Counter[str]] = defaultdict(Counter)
    for row in rows:
        units[row[0]][row[5]] += 1
    mixed = {pack for pack, found in units.items() if len(found) > 1}
    if not mixed:
        return list(rows)
    usual = {pack: units[pack].most_common(1)[0][0] for pack in mixed}
    design: dict[int, float] = {}
    days: set[tuple[int, date]] = set()
    for row in sorted((row for row in rows if row[0] in mixed), key=lambda r: r[1]):
        if row[5] == usual[row[0]]:
            design[row[0]] = row[3]
            days.add((row[0], row[1]))
    return [
        row
        if row[0] not in mixed or row[5] == usual[row[0]]
        else _scaled(row, design[row[0]])
        for row in rows
        if row[5] == usual.get(row[0], row[5]) or (row[0], row[1]) not in days
    ]


def _scaled(row: Sequence[Any], design: float) -> Sequence[Any]:
    return (row[0], row[1], row[2] * design / row[3], design, row[4])


async def load_fitted(
    connection: AsyncConnection, pack_ids: Collection[int], warm_since: date
) -> list[FittedPack]:
    """Load packs with the laptop each is in, or was in last."""
    stay = slot_stays.c
    newest = (
        select(stay.pack_id, func.max(stay.id).label("id"))
        .where(stay.pack_id.in_(pack_ids))
        .group_by(stay.pack_id)
        .subquery()
    )
    hottest = (
        select(func.max(daily_capacity.c.temperature_c))
        .where(
            daily_capacity.c.pack_id == packs.c.id, daily_capacity.c.day >= warm_since
        )
        .scalar_subquery()
    )
    query = (
        select(
            packs.c.id,
            packs.c.maker,
            packs.c.model,
            packs.c.made_on,
            packs.c.first_seen_at,
            laptops.c.id.label("laptop_id"),
            laptops.c.site,
            laptops.c.maker.label("laptop_maker"),
            laptops.c.model.label("laptop_model"),
            stay.until_at,
            hottest.label("hottest"),
        )
        .join(newest, newest.c.pack_id == packs.c.id)
        .join(slot_stays, stay.id == newest.c.id)
        .join(laptops, laptops.c.id == stay.laptop_id)
        .order_by(packs.c.id)
    )
    return [
        FittedPack(
            id=row.id,
            subject=Subject(row.laptop_id, row.id, row.site),
            pack_type=pool_name(row.maker, row.model),
            laptop_maker=row.laptop_maker,
            laptop_model=row.laptop_model,
            is_in_slot=row.until_at is None,
            made_on=row.made_on,
            first_seen_on=row.first_seen_at.date(),
            hottest_c=row.hottest,
        )
        for row in await connection.execute(query)
    ]


async def own_fades(connection: AsyncConnection) -> dict[str, FloatArray]:
    """Return the fades [fraction a month] of packs that speak for themselves, by type.

    Nothing but the numbers is kept of a pack: there may be a million.
    """
    column = assessments.c
    query = (
        select(packs.c.maker, packs.c.model, column.fade_per_month)
        .join(packs, packs.c.id == column.pack_id)
        .where(column.fade_source == OWN_HISTORY, column.fade_per_month > 0)
        .execution_options(yield_per=AT_ONCE)
    )
    found: dict[tuple[str | None, str | None], array[float]] = defaultdict(_no_fades)
    async with connection.stream(query) as result:
        async for rows in result.partitions():
            for maker, model, fade in rows:
                found[maker, model].append(fade)
    fades: dict[str, array[float]] = defaultdict(_no_fades)
    for said, some in found.items():
        fades[pool_name(*said)].extend(some)
    return {name: np.array(some) for name, some in fades.items()}


def _no_fades() -> "array[float]":
    return array("d")


async def save_assessments(
    connection: AsyncConnection, made: Sequence[KeptAssessment]
) -> None:
    """Keep the newest assessment of each pack."""
    make_insert = (
        sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    )
    statement = make_insert(assessments)
    await connection.execute(
        statement.on_conflict_do_update(
            index_elements=[assessments.c.pack_id],
            set_={
                column.name: statement.excluded[column.name]
                for column in assessments.c
                if column.name != "pack_id"
            },
        ),
        [_values(kept) for kept in made],
    )


def _values(kept: KeptAssessment) -> dict[str, object]:
    said = kept.said
    plan, replace = said.crossings.plan, said.crossings.replace
    fade = said.fade_percent_per_month
    return {
        "pack_id": kept.pack_id,
        "as_of": said.as_of,
        "readings": said.readings,
        "wear": None if said.wear_percent is None else said.wear_percent / 100,
        "band": said.band,
        "fade_per_month": fade and fade.estimate / 100,
        "fade_source": kept.fade_source,
        "own_fade_per_month": kept.own_fade_per_month,
        "plan_wear": kept.plan_wear,
        "replace_wear": kept.replace_wear,
        "plan_earliest": plan and plan.earliest,
        "plan_on": plan and plan.on,
        "plan_latest": plan and plan.latest,
        "replace_earliest": replace and replace.earliest,
        "replace_on": replace and replace.on,
        "replace_latest": replace and replace.latest,
        "gauge": said.gauge,
        "concern": said.concern,
        "reasons": list(said.reasons),
        "details": said.as_json(),
    }
