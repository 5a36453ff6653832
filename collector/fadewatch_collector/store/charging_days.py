"""Charging days of many packs as arrays, read without making an object of each row."""

import json
from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.charging import COUNTS, MEASURES, ChargingDays
from fadewatch_collector.store.raw_rows import raw_rows

_COLUMNS = ", ".join(("pack_id", "day", *COUNTS, *MEASURES))
_ON_SQLITE = f"""
    SELECT {_COLUMNS} FROM daily_charging
    WHERE pack_id IN (SELECT value FROM json_each(?)) AND day >= ?
    ORDER BY pack_id, day
"""  # noqa: S608  # our own names
_ON_POSTGRESQL = f"""
    SELECT {_COLUMNS} FROM daily_charging
    WHERE pack_id = ANY($1::bigint[]) AND day >= $2
    ORDER BY pack_id, day
"""  # noqa: S608  # our own names


async def load_charging_days(
    connection: AsyncConnection, pack_ids: Sequence[int], since: date
) -> tuple[list[int], ChargingDays]:
    """Return the packs that have days from one on, and these days.

    A pack's place in ``ChargingDays`` is that of its number in the list.
    """
    if connection.dialect.name == "sqlite":
        wanted = json.dumps(list(pack_ids))
        rows = await raw_rows(connection, _ON_SQLITE, wanted, since.isoformat())
    else:
        rows = await raw_rows(connection, _ON_POSTGRESQL, list(pack_ids), since)
    if not rows:
        return [], _days(np.array([], dtype=np.int64), [], [[]] * len(_OTHERS))
    numbers, day, *others = zip(*rows, strict=True)
    number = {value: _ordinal(value) for value in set(day)}
    known, place = np.unique(np.array(numbers, dtype=np.int64), return_inverse=True)
    days = _days(place, [number[value] for value in day], others)
    return [int(one) for one in known], days


_OTHERS = (*COUNTS, *MEASURES)


def _ordinal(day: date | str) -> int:
    return (date.fromisoformat(day) if isinstance(day, str) else day).toordinal()


def _days(
    place: Any, day: Sequence[int], others: Sequence[Sequence[Any]]
) -> ChargingDays:
    columns: dict[str, Any] = {
        name: np.array(values, dtype=np.int64 if name in COUNTS else np.float64)
        for name, values in zip(_OTHERS, others, strict=True)
    }
    return ChargingDays(pack=place, day=np.array(day, dtype=np.int64), **columns)
