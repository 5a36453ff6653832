"""Rows of the days since which packs have been past a threshold."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import date

from sqlalchemy import delete, insert, select, tuple_
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import threshold_passings


async def load_passings(
    connection: AsyncConnection, pack_ids: Collection[int]
) -> dict[int, dict[float, date]]:
    """Return the passings known of packs, by pack and threshold."""
    column = threshold_passings.c
    query = select(column.pack_id, column.threshold, column.passed_on).where(
        column.pack_id.in_(pack_ids)
    )
    found: dict[int, dict[float, date]] = defaultdict(dict)
    for pack_id, threshold, on in await connection.execute(query):
        found[pack_id][threshold] = on
    return dict(found)


async def save_passings(
    connection: AsyncConnection,
    new: Mapping[tuple[int, float], date],
    withdrawn: Collection[tuple[int, float]],
) -> None:
    """Keep new passings and drop withdrawn ones, by pack and threshold."""
    column = threshold_passings.c
    gone = [*withdrawn, *new]
    if gone:
        # A second collector may have kept one meanwhile: the newest word stands.
        await connection.execute(
            delete(threshold_passings).where(
                tuple_(column.pack_id, column.threshold).in_(gone)
            )
        )
    if new:
        await connection.execute(
            insert(threshold_passings),
            [
                {"pack_id": pack_id, "threshold": threshold, "passed_on": on}
                for (pack_id, threshold), on in new.items()
            ],
        )
