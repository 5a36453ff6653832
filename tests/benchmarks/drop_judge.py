"""Watch fleets day by day for drops, by the analysis or by a plain rule, and judge it."""

from collections.abc import Callable
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.cleaning import LEAST_HEALTH, MOST_HEALTH, prepare
from fadewatch_collector.analysis.drops import find_drops
from fadewatch_collector.analysis.series import Histories

FOUND_WITHIN = 14
LEAST_SIZE = 0.08
MERGED_DAYS = 20
READINGS_AFTER, READINGS_BEFORE = 4, 5
LEAST_LOOK = 0.045
"""Packs whose median of three never fell by so much raise no alarm and are left out."""


@dataclass(frozen=True, slots=True)
class Fall:
    """A real drop: the day it began, the first whose reading shows half, its size."""

    began: int
    shown: int | None
    size: float


@dataclass(frozen=True, slots=True, eq=False)
class Watched:
    """A fleet, the days on which it is looked at, and each pack's real drops."""

    histories: Histories
    days: NDArray[np.int64]
    drops: list[list[Fall]]
    kinds: list[str] | None = None


@dataclass(slots=True)
class Alarms:
    """Alarms raised, and which drops there were, over some fleets.

    Every new alarm counts, also one that comes back; ``again`` says how many false ones
    were of a day already told.
    """

    years: float = 0.0
    there: int = 0
    delays: list[int] = field(default_factory=list)
    false: int = 0
    again: int = 0
    by_kind: dict[str, list[int]] = field(default_factory=dict)


Raised = list[list[tuple[int, float]]]
"""By pack: the day of each new alarm, and of the drop that it told."""
Rule = Callable[[Watched], Raised]


def by_analysis(fleet: Watched) -> tuple[Raised, Raised]:
    """Return alarms as confirmed, and as first said, confirmed or not."""
    chosen = _worth_a_look(fleet.histories)
    known = _some(fleet.histories, chosen)
    confirmed: Raised = [[] for _ in fleet.histories.pack_ids]
    said: Raised = [[] for _ in fleet.histories.pack_ids]
    active = [np.full(len(known), np.nan), np.full(len(known), np.nan)]
    for day in fleet.days:
        drops = find_drops(prepare(known, np.full(len(known), day, dtype=np.int32)))
        views = np.where(drops.confirmed, drops.on, np.nan), drops.on
        for place, (on, raised) in enumerate(
            zip(views, (confirmed, said), strict=True)
        ):
            fresh = ~np.isnan(on) & ~(np.abs(on - active[place]) <= MERGED_DAYS)
            for index in np.flatnonzero(fresh):
                raised[chosen[index]].append((int(day), float(on[index])))
            active[place] = on
    return confirmed, said


def between_two(fleet: Watched, least: float = 0.05) -> Raised:
    """Return the alarms of a plain rule: a fall between two readings."""
    return [_alarms(d, h[:-1] - h[1:], 1, least) for d, h in _packs(fleet)]


def medians_of_five(fleet: Watched, least: float) -> Raised:
    """Return the alarms of another: the median of five readings falls, to the next."""
    raised: Raised = []
    for day, health in _packs(fleet):
        if health.size < 10:
            raised.append([])
            continue
        level = np.median(sliding_window_view(health, 5), axis=1)
        raised.append(_alarms(day[4:], level[:-5] - level[5:], 5, least))
    return raised


def _packs(fleet: Watched) -> list[tuple[FloatArray, FloatArray]]:
    known = fleet.histories
    packs = []
    for index in range(len(known)):
        one = known.one(index)
        health = one.full / one.design
        sane = (health >= LEAST_HEALTH) & (health <= MOST_HEALTH)
        packs.append(
            (one.day[sane].astype(np.float64), health[sane].astype(np.float64))
        )
    return packs


def _alarms(
    day: FloatArray, fall: FloatArray, later: int, least: float
) -> list[tuple[int, float]]:
    alarms: list[tuple[int, float]] = []
    for at in np.flatnonzero(fall >= least):
        when = int(day[at + later])
        if not alarms or when - alarms[-1][0] > MERGED_DAYS:
            alarms.append((when, float(when)))
    return alarms


def _worth_a_look(known: Histories) -> NDArray[np.int64]:
    chosen = []
    for index in range(len(known)):
        one = known.one(index)
        health = one.full / one.design
        health = health[(health >= LEAST_HEALTH) & (health <= MOST_HEALTH)]
        if health.size > READINGS_BEFORE:
            level = np.median(sliding_window_view(health, 3), axis=1)
            if np.max(np.maximum.accumulate(level) - level) >= LEAST_LOOK:
                chosen.append(index)
    return np.array(chosen, dtype=np.int64)


def _some(known: Histories, chosen: NDArray[np.int64]) -> Histories:
    parts = [known.one(int(index)) for index in chosen]
    return Histories(
        tuple(part.pack_ids[0] for part in parts),
        np.cumsum([0, *(part.day.size for part in parts)]),
        *(
            np.concatenate([getattr(part, one.name) for part in parts])
            for one in fields(Histories)[2:]
        ),
    )


def judge(fleet: Watched, raised: Raised, alarms: Alarms) -> None:
    """Match alarms with real drops, and add what comes of it."""
    alarms.years += len(fleet.histories) * fleet.days.size / 365.25
    for index, mine in enumerate(raised):
        kind = fleet.kinds[index] if fleet.kinds else ""
        counts = alarms.by_kind.setdefault(kind, [0, 0, 0])
        real = fleet.drops[index]
        for fall in real:
            if fall.size >= LEAST_SIZE and _tellable(fleet.histories.one(index), fall):
                alarms.there += 1
                counts[0] += 1
                late = _delay(fall, mine)
                if late is not None:
                    alarms.delays.append(late)
                    counts[1] += 1
        false = [on for _, on in mine if not any(_is_of(fall, on) for fall in real)]
        alarms.false += len(false)
        alarms.again += len(false) - len(set(false))
        counts[2] += len(false)


def _delay(fall: Fall, mine: list[tuple[int, float]]) -> int | None:
    shown = fall.began if fall.shown is None else fall.shown
    late = [d - shown for d, _ in mine if fall.began <= d <= shown + FOUND_WITHIN]
    return max(min(late), 0) if late else None


def _is_of(fall: Fall, on: float) -> bool:
    last = fall.began if fall.shown is None else fall.shown
    return fall.began - 3 <= on <= last + 30


def _tellable(history: Histories, fall: Fall) -> bool:
    """Say whether there were readings enough to tell that a drop stays."""
    if fall.shown is None:
        return False
    day = history.day
    after = np.sum((day >= fall.shown) & (day <= fall.shown + FOUND_WITHIN))
    before = np.sum(day < fall.began)
    return bool(after >= READINGS_AFTER and before >= READINGS_BEFORE)
