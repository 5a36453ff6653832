"""Work out what the fleet view shows, by the clock, so that its page answers at once."""

import asyncio
from datetime import date
from typing import Any

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, Mask
from fadewatch_collector.analysis.expected import expected_crossings
from fadewatch_collector.rules.compared_types import compare_types
from fadewatch_collector.rules.fleet_outlook import (
    ExpectedGroup,
    ExpectedMonth,
    held_rows,
    last_day,
    months_ahead,
    quarter_end,
)
from fadewatch_collector.rules.fleet_shares import (
    NO_SITE,
    Dimension,
    born_before,
    shares,
    whole,
)
from fadewatch_collector.rules.held import THRESHOLD_NAMES, ThresholdName
from fadewatch_collector.store import fleet_view as rows
from fadewatch_collector.store.fleet_arrays import FleetArrays
from fadewatch_collector.store.raw_rows import EPOCH_ORDINAL
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.fleet_rows import (
    Ahead,
    FleetRows,
    ahead,
    are_past,
    read_fleet,
    watched,
)
from fadewatch_collector.usecases.forecasts import held_forecasts
from fadewatch_collector.usecases.policies import fleet_policy
from fadewatch_collector.usecases.services import Services

FORM = 1
"""Counts up when what is kept changes its form: what is there is then made anew."""

FIGURES = tuple(f"{part}.{FORM}" for part in ("shares", "expected", "held", "types"))
"""Names under which the parts of the fleet view are kept."""
SHARES, EXPECTED, HELD, TYPES = FIGURES

SMALL_FLEET = 500
"""Packs of a fleet that is summed up while its page waits [count]. Own choice: it takes
a fraction of a second, and a new fleet changes from minute to minute. That of a larger
one reads its kept forecasts, up to 36 a pack, and compares its types once a day only."""


async def sum_up_fleet(services: Services) -> int:
    """Work out every part of the fleet view and keep it; returns how many packs."""
    now = services.clock()
    today = now.date()
    common = (await fleet_policy(services)).plan_wear
    async with services.store.reading() as connection:
        counted = await rows.share_rows(connection, born_before(today))
        fleet = await read_fleet(connection, common)
        done = await _done_today(connection, today, len(fleet.packs))
        held = None if HELD in done else await _held(connection, today)
    bodies: dict[str, Any] = {
        SHARES: {
            "whole": whole(counted).as_json(),
            **{
                name: [share.as_json() for share in found]
                for name, found in shares(counted).items()
            },
        },
        **({} if held is None else {HELD: held}),
        # Numbers take the processor for a while: the loop goes on answering meanwhile.
        EXPECTED: await asyncio.to_thread(_expected, fleet, today),
    }
    if TYPES not in done:
        bodies[TYPES] = await asyncio.to_thread(_types, fleet, common)
    async with services.store.writing() as connection:
        for name, body in bodies.items():
            await rows.keep_figures(connection, name, now, body)
    return len(fleet.packs)


async def _done_today(
    connection: WriteConnection, today: date, packs: int
) -> frozenset[str]:
    """Return the parts that a large fleet has from today: they take a while."""
    if packs <= SMALL_FLEET:
        return frozenset()
    kept = await rows.kept_figures(connection, [HELD, TYPES])
    return frozenset(name for name, (at, _) in kept.items() if at.date() == today)


async def _held(connection: WriteConnection, today: date) -> list[dict[str, Any]]:
    found = [
        (name, await held_forecasts(connection, name, today))
        for name in THRESHOLD_NAMES
    ]
    return [
        row.as_json()
        for name, held in found
        for row in held_rows(name, held.all, held.by_lead)
    ]


def _types(fleet: FleetRows, common: float) -> list[dict[str, Any]]:
    names = [(kind.key, kind.label) for kind in fleet.types]
    found = compare_types(watched(fleet), fleet.kinds, names, common)
    return [group.as_json() for group in found]


def _expected(fleet: FleetRows, today: date) -> dict[str, Any]:
    plan = ahead(fleet, "plan")
    return {
        "months": [
            month.as_json()
            for name in THRESHOLD_NAMES
            for month in _months(fleet, ahead(fleet, name), name, today)
        ],
        "groups": [
            group.as_json()
            for group in (
                *_groups(fleet, plan, "site", _by_site(fleet.packs), today),
                *_groups(fleet, plan, "type", _by_type(fleet), today),
            )
        ],
        "quarter_end": quarter_end(today).isoformat(),
    }


def _months(
    fleet: FleetRows, packs: Ahead, name: ThresholdName, today: date
) -> list[ExpectedMonth]:
    months = months_ahead(today)
    if not packs.which.size:
        return []
    within, by_end = expected_crossings(
        packs.forecasts,
        fleet.kinds[packs.which],
        np.zeros(packs.which.size, dtype=np.int64),
        [last_day(month).toordinal() - EPOCH_ORDINAL for month in months],
        seed=today.toordinal(),
    )
    return [
        ExpectedMonth(
            threshold=name,
            month=month,
            expected=float(within.mean[0, place]),
            low=int(within.low[0, place]),
            high=int(within.high[0, place]),
            by_then=float(by_end.mean[0, place]),
            by_then_low=int(by_end.low[0, place]),
            by_then_high=int(by_end.high[0, place]),
        )
        for place, month in enumerate(months)
    ]


Named = tuple[list[tuple[str | None, str]], CountArray]
"""Keys and names of groups, and the number of each pack's own."""


def _by_type(fleet: FleetRows) -> Named:
    return [(kind.key, kind.label) for kind in fleet.types], fleet.kinds


def _by_site(packs: FleetArrays) -> Named:
    order = sorted(range(len(packs.sites)), key=lambda place: packs.sites[place] or "")
    sites = [packs.sites[place] for place in order]
    numbers = np.argsort(np.array(order, dtype=np.int64))[packs.site]
    return [(site, site or NO_SITE) for site in sites], numbers


def _groups(
    fleet: FleetRows, packs: Ahead, dimension: Dimension, named: Named, today: date
) -> list[ExpectedGroup]:
    """Return what each group comes to by the end of the quarter, most first."""
    names, numbers = named
    if not packs.which.size:
        return []
    _, by_end = expected_crossings(
        packs.forecasts,
        fleet.kinds[packs.which],
        numbers[packs.which],
        [quarter_end(today).toordinal() - EPOCH_ORDINAL],
        seed=today.toordinal(),
    )
    there_now = fleet.packs.is_in_slot
    there = _counted(numbers, there_now, len(names))
    past = _counted(numbers, there_now & are_past(fleet.packs, "plan"), len(names))
    found = [
        ExpectedGroup(
            dimension=dimension,
            key=key,
            name=name,
            packs=there[number],
            past=past[number],
            expected=_at(by_end.mean[:, 0], number),
            low=int(_at(by_end.low[:, 0], number)),
            high=int(_at(by_end.high[:, 0], number)),
        )
        for number, (key, name) in enumerate(names)
        if there[number]
    ]
    return sorted(found, key=lambda one: (-one.past - one.expected, one.name))


def _counted(numbers: CountArray, which: Mask, groups: int) -> list[int]:
    counts: list[int] = np.bincount(numbers[which], minlength=groups).tolist()
    return counts


def _at(values: Any, place: int) -> float:
    # The draws end with the last group that has a pack ahead of its threshold.
    return float(values[place]) if place < len(values) else 0.0
