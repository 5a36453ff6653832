"""Simulated histories of a whole fleet."""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.arrivals import draw_presence, draw_strays, quiet
from fadewatch_collector.simulation.courses import Courses, draw_courses
from fadewatch_collector.simulation.disturbances import nonsense_values
from fadewatch_collector.simulation.events import Events, draw_events
from fadewatch_collector.simulation.fleet import (
    OFFICE,
    Days,
    Fleet,
    Mix,
    Rows,
    Strays,
    Whole,
)
from fadewatch_collector.simulation.packtypes import PACK_TYPES
from fadewatch_collector.simulation.truth import PackTruth
from fadewatch_collector.simulation.verdicts import Heard, Placed, truths

WORTH_SWAPPING = 0.88  # [fraction of design] sounder packs are seldom swapped
OTHER_TYPE = 0.3  # of swaps bring another pack type
NOTICED_WITHIN = (30, 120)  # [day] until a pack that is too worn is taken out; ours
BLOCK = 2000  # packs drawn at a time, to bound memory


def simulate(
    packs: int, *, days: int = 365, end: date, seed: int, mix: Mix = OFFICE
) -> Fleet:
    """Simulate a fleet's histories over `days` days up to and with `end`.

    Parameters
    ----------
    packs
        How many histories, at least 1.
    days
        Length of the window, at least 1.
    end
        Last day of the window.
    seed
        The same arguments always give the same fleet.
    mix
        How often each phenomenon occurs.
    """
    last = np.datetime64(end, "D")
    window = np.arange(last - np.timedelta64(days - 1, "D"), last + 1)
    sizes = [min(BLOCK, packs - first) for first in range(0, packs, BLOCK)]
    parts = [
        _part(np.random.default_rng([seed, number]), mix, window, number * BLOCK, size)
        for number, size in enumerate(sizes)
    ]
    return _joined(parts, window)


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    first: int
    kinds: Whole
    design: NDArray[np.float32]
    full: NDArray[np.float32]
    cycles: NDArray[np.float32]
    true: NDArray[np.float32]
    truths: tuple[PackTruth, ...]
    strays: Strays


def _part(
    rng: np.random.Generator, mix: Mix, days: Days, first: int, packs: int
) -> _Part:
    shape = (packs, len(days))
    placed = _draw_placed(rng, mix, len(days), packs)
    silences = draw_events(rng, shape, mix.silences_a_year, (14, 80))
    present = draw_presence(rng, mix, days, packs) & ~_worn_out(rng, mix, placed)
    heard = quiet(quiet(present, placed.before.rests), silences)
    design, full, cycles, true = _reported(placed)
    _without_counts(rng, mix, cycles)
    nonsense = _spoil(rng, mix, full, heard)
    for matrix in (design, full, cycles):
        matrix[~heard] = np.nan
    strays = draw_strays(rng, mix, days, (design, full, cycles))
    return _Part(
        first=first,
        kinds=placed.kinds,
        design=design,
        full=full,
        cycles=cycles,
        true=true,
        truths=truths(
            placed,
            Heard(~np.isnan(full), present, silences, nonsense, strays),
            days,
            first,
        ),
        strays=strays,
    )


def _worn_out(rng: np.random.Generator, mix: Mix, placed: Placed) -> NDArray[np.bool_]:
    """Say on which days a pack is out of use, as it became too worn weeks before."""
    low = placed.before.true < rng.uniform(*mix.worn_out, len(placed.kinds))[:, None]
    low[placed.swapped] = False
    days = low.shape[1]
    first = np.where(low.any(axis=1), low.argmax(axis=1), days)
    taken_out = first + rng.integers(*NOTICED_WITHIN, len(first))
    # A pack that was too worn from the start has long been noticed.
    taken_out[first == 0] = 0
    out_of_use: NDArray[np.bool_] = np.arange(days)[None, :] >= taken_out[:, None]
    return out_of_use


def _draw_placed(rng: np.random.Generator, mix: Mix, days: int, packs: int) -> Placed:
    kinds = rng.integers(0, len(PACK_TYPES), packs)
    before = draw_courses(rng, mix, days, kinds)
    column = (rng.uniform(0.15, 0.85, packs) * days).astype(np.int64)
    worn = before.true[np.arange(packs), column] < WORTH_SWAPPING
    chance = rng.random(packs)
    # More than half of a fleet's packs are worn: the mix's share holds on average.
    swaps = chance < mix.swap * np.where(worn, 1.5, 0.25)
    swapped = np.flatnonzero(swaps)
    return Placed(
        kinds=kinds,
        before=before,
        after=_draw_successors(rng, mix, days, kinds[swapped], column[swapped]),
        swapped=swapped,
        swap_column=np.where(swaps, column, days),
        weak=swaps | (chance < mix.weak_serial),
    )


def _draw_successors(
    rng: np.random.Generator, mix: Mix, days: int, kinds: Whole, column: Whole
) -> Courses:
    packs = len(kinds)
    other_type = rng.random(packs) < OTHER_TYPE
    drawn = np.where(other_type, rng.integers(0, len(PACK_TYPES), packs), kinds)
    age_at_swap = rng.integers(0, 120, packs)
    calm = replace(mix, rests_a_year=0.0, drop=0.0)
    return draw_courses(rng, calm, days, drawn, (age_at_swap - column).astype(float))


def _capacities(
    course: Courses,
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    types = [PACK_TYPES[kind] for kind in course.kinds]
    design = np.array([one.design for one in types], dtype=np.float32)[:, None]
    quantum = np.array([one.quantum for one in types], dtype=np.float32)[:, None]
    shown = np.maximum(course.shown, 0.02).astype(np.float32)
    full = np.round(shown * design / quantum) * quantum
    true = course.true.astype(np.float32) * design
    return np.broadcast_to(design, full.shape).copy(), full, true


def _reported(placed: Placed) -> tuple[NDArray[np.float32], ...]:
    design, full, true = _capacities(placed.before)
    cycles = placed.before.cycles.copy()
    later = (
        np.arange(full.shape[1])[None, :] >= placed.swap_column[placed.swapped][:, None]
    )
    new_design, new_full, new_true = _capacities(placed.after)
    for old, new in (
        (design, new_design),
        (full, new_full),
        (true, new_true),
        (cycles, placed.after.cycles),
    ):
        old[placed.swapped] = np.where(later, new, old[placed.swapped])
    return design, full, cycles, true


def _without_counts(
    rng: np.random.Generator, mix: Mix, cycles: NDArray[np.float32]
) -> None:
    cycles[rng.random(len(cycles)) < mix.no_cycle_count] = np.nan


def _spoil(
    rng: np.random.Generator,
    mix: Mix,
    full: NDArray[np.float32],
    heard: NDArray[np.bool_],
) -> Events:
    """Put nonsense into some readings, in place, and say which."""
    drawn = draw_events(rng, full.shape, mix.nonsense_a_year, (1, 1))
    nonsense = drawn.only(heard[drawn.pack, drawn.day])
    full[nonsense.pack, nonsense.day] = nonsense_values(
        rng, full, nonsense.pack, nonsense.day
    )
    return nonsense


def _joined(parts: list[_Part], days: Days) -> Fleet:
    kinds = np.concatenate([part.kinds for part in parts])
    types = [PACK_TYPES[kind] for kind in kinds]
    every = tuple(truth for part in parts for truth in part.truths)
    return Fleet(
        days=days,
        pack_ids=tuple(truth.pack_id for truth in every),
        pack_types=tuple(one.name for one in types),
        units=tuple(one.unit for one in types),
        design_capacity=np.concatenate([part.design for part in parts]),
        full_charge_capacity=np.concatenate([part.full for part in parts]),
        cycle_count=np.concatenate([part.cycles for part in parts]),
        true_capacity=np.concatenate([part.true for part in parts]),
        truths=every,
        strays=_joined_strays(parts),
    )


def _joined_strays(parts: list[_Part]) -> Strays:
    rows = [part.strays.rows for part in parts]
    return Strays(
        rows=Rows(
            pack=np.concatenate([part.strays.rows.pack + part.first for part in parts]),
            measured_on=np.concatenate([one.measured_on for one in rows]),
            design_capacity=np.concatenate([one.design_capacity for one in rows]),
            full_charge_capacity=np.concatenate(
                [one.full_charge_capacity for one in rows]
            ),
            cycle_count=np.concatenate([one.cycle_count for one in rows]),
        ),
        wrong_clock=np.concatenate([part.strays.wrong_clock for part in parts]),
        came_on=np.concatenate([part.strays.came_on for part in parts]),
        late_pack=np.concatenate(
            [part.strays.late_pack + part.first for part in parts]
        ),
        late_day=np.concatenate([part.strays.late_day for part in parts]),
        late_by=np.concatenate([part.strays.late_by for part in parts]),
    )
