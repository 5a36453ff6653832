"""Rows of forecasts as they stood, and of what came."""

from collections.abc import AsyncGenerator, Sequence
from contextlib import aclosing
from datetime import date
from typing import Any

from sqlalchemy import Select, and_, case, delete, insert, literal, or_, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.held import ThresholdName
from fadewatch_collector.store.raw_rows import stream_raw_rows
from fadewatch_collector.store.tables import (
    assessments,
    kept_forecasts,
    packs,
    slot_stays,
    threshold_passings,
)


async def keep_forecasts(
    connection: AsyncConnection, as_of: date, among: tuple[int, int]
) -> int:
    """Keep the forecast of each pack that is in a slot and not worn out yet.

    Each stands under ``as_of``; one that is there already stays as it is. Returns how
    many were kept.

    Parameters
    ----------
    among
        First and last number of the packs gone over.
    """
    said = assessments.c
    copied = ("wear", "plan_wear", "replace_wear")
    dates = [
        # A threshold that is passed has no forecast: its dates are the day it was.
        case((said.wear < said[f"{name}_wear"], said[f"{name}_{end}"])).label(
            f"{name}_{end}"
        )
        for name in ("plan", "replace")
        for end in ("earliest", "on", "latest")
    ]
    kept = select(kept_forecasts.c.pack_id).where(
        kept_forecasts.c.as_of == as_of, kept_forecasts.c.pack_id.between(*among)
    )
    query = (
        select(
            said.pack_id,
            literal(as_of, kept_forecasts.c.as_of.type).label("as_of"),
            *(said[name] for name in copied),
            *dates,
        )
        .join(
            slot_stays,
            and_(slot_stays.c.pack_id == said.pack_id, slot_stays.c.until_at.is_(None)),
        )
        .distinct()
        .where(
            said.pack_id.between(*among),
            said.band != "unknown",
            said.wear < said.replace_wear,
            said.plan_wear.is_not(None),
            said.pack_id.not_in(kept),
        )
    )
    names = [str(column.key) for column in query.selected_columns]
    result = await connection.execute(insert(kept_forecasts).from_select(names, query))
    return int(result.rowcount)


async def forget_forecasts(
    connection: AsyncConnection, before: date, among: tuple[int, int]
) -> None:
    """Drop the forecasts of some packs of before a day."""
    column = kept_forecasts.c
    await connection.execute(
        delete(kept_forecasts).where(
            column.as_of < before, column.pack_id.between(*among)
        )
    )


async def stream_outcomes(
    connection: AsyncConnection, name: ThresholdName, chunk: int
) -> AsyncGenerator[Sequence[Sequence[Any]]]:
    """Yield each kept forecast of a threshold with what came, by pack and day.

    A row tells pack, day of the forecast, its three days, the day on which the threshold
    was passed, and the moment of the pack's newest reading. Forecasts for a threshold that has changed since
    are left out unless its passing is known: nobody watches it any more. Days and moments
    are as the driver gives them.
    """
    async with aclosing(stream_raw_rows(connection, _outcomes(name), chunk)) as chunks:
        async for rows in chunks:
            yield rows


def _outcomes(name: ThresholdName) -> Select[Any]:
    kept, passing = kept_forecasts.c, threshold_passings.c
    threshold = kept[f"{name}_wear"]
    return (
        select(
            kept.pack_id,
            kept.as_of,
            kept[f"{name}_earliest"],
            kept[f"{name}_on"],
            kept[f"{name}_latest"],
            passing.passed_on,
            packs.c.last_seen_at,
        )
        .join(packs, packs.c.id == kept.pack_id)
        .join(assessments, assessments.c.pack_id == kept.pack_id)
        .outerjoin(
            threshold_passings,
            and_(passing.pack_id == kept.pack_id, passing.threshold == threshold),
        )
        .where(
            kept.wear < threshold,
            or_(
                passing.passed_on.is_not(None),
                assessments.c[f"{name}_wear"] == threshold,
            ),
        )
        .order_by(kept.pack_id, kept.as_of)
    )
