"""Keep forecasts month by month, and hold them against what came."""

from collections.abc import Sequence
from contextlib import aclosing
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from fadewatch_collector.analysis.held import LEADS, Outcomes, Tally, by_lead
from fadewatch_collector.rules.held import ThresholdName, is_due, kept_since
from fadewatch_collector.store import kept_forecasts as rows
from fadewatch_collector.store.histories import pack_ids_after
from fadewatch_collector.store.raw_rows import day_numbers
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.values import get_value, set_value
from fadewatch_collector.usecases.services import Services

KEPT_ON = "forecasts-kept-on"
CHUNK = 5_000
"""Forecasts read, and packs gone over, at a time [count]. Own choice."""

EPOCH = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class HeldForecasts:
    """What became of the kept forecasts of one threshold: all, and by lead time."""

    all: Tally
    by_lead: Sequence[Tally]


async def keep_forecasts(services: Services) -> int:
    """Keep this month's forecasts once, and drop very old ones; returns how many.

    Some packs at a time, so that reports which come in meanwhile do not wait for all; a
    run that was cut short goes on with those that it left.
    """
    today = services.clock().date()
    async with services.store.reading() as connection:
        kept = await get_value(connection, KEPT_ON)
    if not is_due(date.fromisoformat(kept) if kept else None, today):
        return 0
    after, count = 0, 0
    while True:
        async with services.store.writing() as connection:
            packs = await pack_ids_after(connection, after, CHUNK)
            if not packs:
                await set_value(connection, KEPT_ON, today.isoformat())
                return count
            among = (packs[0], packs[-1])
            count += await rows.keep_forecasts(connection, today, among)
            await rows.forget_forecasts(connection, kept_since(today), among)
        after = packs[-1]


async def held_forecasts(
    connection: WriteConnection, name: ThresholdName, today: date
) -> HeldForecasts:
    """Hold the kept forecasts of a threshold against what came by a day."""
    everything, classes = Tally(), [Tally() for _ in range(len(LEADS) + 1)]
    now = float((today - EPOCH).days)
    async with aclosing(rows.stream_outcomes(connection, name, CHUNK)) as chunks:
        async for chunk in chunks:
            found = _outcomes(chunk)
            everything.add(found, now)
            by_lead(found, classes, now)
    return HeldForecasts(everything, classes)


def _outcomes(chunk: Sequence[Sequence[Any]]) -> Outcomes:
    pack, as_of, earliest, on, latest, passed, watched = zip(*chunk, strict=True)
    return Outcomes(
        pack=np.array(pack, dtype=np.int64),
        as_of=day_numbers(as_of),
        earliest=day_numbers(earliest, missing=np.inf),
        on=day_numbers(on, missing=np.inf),
        latest=day_numbers(latest, missing=np.inf),
        passed=day_numbers(passed),
        watched_until=day_numbers(watched),
    )
