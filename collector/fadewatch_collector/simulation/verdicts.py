"""Write down the truth about each simulated history."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.ageing import HORIZON, first_age_at
from fadewatch_collector.simulation.courses import Courses
from fadewatch_collector.simulation.events import Events
from fadewatch_collector.simulation.fleet import Days, Numbers, Strays, Whole
from fadewatch_collector.simulation.truth import Drop, PackTruth, Phenomenon

CROSSINGS = (0.20, 0.30, 0.40)  # [wear]
OFTEN = 0.5  # chance of learning on a day; below it the gauge moves in steps
ABOVE_DESIGN = 1.01  # [fraction of design]; less is within a gauge's noise

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Which pack is in place under each name.

    Attributes
    ----------
    kinds
        Type of the pack in place on the first day.
    before, after
        Courses of the packs in place first, one a name, and of those that
        replace the ones at `swapped`.
    swap_column
        Column from which the second pack is in place; beyond the window without.
    weak
        Names that do not tell packs apart.
    """

    kinds: Whole
    before: Courses
    after: Courses
    swapped: Whole
    swap_column: Whole
    weak: Flags


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What became of the readings.

    Attributes
    ----------
    seen
        Cells whose reading arrived.
    present
        Cells that would have had a reading without silence.
    silences, nonsense
        Events that took readings away or spoilt them.
    """

    seen: Flags
    present: Flags
    silences: Events
    nonsense: Events
    strays: Strays


def truths(
    placed: Placed, heard: Heard, days: Days, first: int
) -> tuple[PackTruth, ...]:
    """Write down the truth about each history.

    Parameters
    ----------
    first
        Number of the first pack.
    """
    seen = heard.seen
    swaps = _swaps(placed, seen)
    marks = _marks(placed, heard) | {Phenomenon.SWAP: swaps}
    knees, factors, crossings = _knees_and_crossings(placed, days)
    return tuple(
        PackTruth(
            pack_id=_name(first + row, weak=bool(placed.weak[row])),
            phenomena=frozenset(kind for kind, flags in marks.items() if flags[row]),
            drops=_drops(placed, days, seen, row),
            knee_on=knees[row],
            knee_factor=round(float(factors[row]), 2) if knees[row] else 1.0,
            swaps=(_day(days, int(placed.swap_column[row])),) if swaps[row] else (),
            crossings=(crossings[0][row], crossings[1][row], crossings[2][row]),
        )
        for row in range(len(seen))
    )


def _name(number: int, *, weak: bool) -> str:
    return f"{'slot' if weak else 'pack'}-{number:06d}"


def _day(days: Days, column: int) -> date:
    day: date = (days[0] + np.timedelta64(column, "D")).astype(object)
    return day


def _swaps(placed: Placed, seen: Flags) -> Flags:
    column = np.arange(seen.shape[1])[None, :]
    later = column >= placed.swap_column[:, None]
    return np.logical_and((seen & later).any(axis=1), (seen & ~later).any(axis=1))


def _marks(placed: Placed, heard: Heard) -> dict[Phenomenon, Flags]:
    before, gauges = placed.before, placed.before.gauges
    seen, strays = heard.seen, heard.strays
    packs, days = seen.shape
    moves = ~gauges.frozen
    first = np.arange(days)[None, :] < placed.swap_column[:, None]
    in_place = seen & first
    knee_column = before.ageing.knee_age - before.start_age
    bends = (knee_column >= 0) & (knee_column < np.minimum(placed.swap_column, days))
    falls = before.drop_column < np.minimum(placed.swap_column, days)
    rows = strays.rows.pack
    return {
        Phenomenon.LEARNING_STEPS: moves & (gauges.chance < OFTEN),
        Phenomenon.LONG_STALE: moves & gauges.stale,
        Phenomenon.LIMITED_STEPS: moves & gauges.limited,
        Phenomenon.FROZEN: gauges.frozen,
        Phenomenon.ABOVE_DESIGN: moves & (before.true[:, 0] > ABOVE_DESIGN),
        Phenomenon.FALSE_CLIFF: _touched(before.cliffs, in_place),
        Phenomenon.DIP: _touched(before.dips, in_place),
        Phenomenon.NONSENSE: _touched(heard.nonsense, seen),
        Phenomenon.REGENERATION: _touched(_after(before.rests), in_place)
        & ~gauges.stale,
        Phenomenon.SILENCE: _touched(heard.silences, heard.present),
        Phenomenon.OUT_OF_ORDER: _any(strays.late_pack, packs),
        Phenomenon.REPEATED: _any(rows[~strays.wrong_clock], packs),
        Phenomenon.WRONG_CLOCK: _any(rows[strays.wrong_clock], packs),
        Phenomenon.DROP: falls,
        Phenomenon.KNEE: bends,
        Phenomenon.WEAK_SERIAL: placed.weak,
    }


def _touched(events: Events, seen: Flags) -> Flags:
    row, column, _ = events.cells(seen.shape[1])
    return _any(row[seen[row, column]], len(seen))


def _after(rests: Events) -> Events:
    return Events(rests.pack, rests.day + rests.days, rests.days, rests.size)


def _any(row: Whole, packs: int) -> Flags:
    flags = np.zeros(packs, dtype=np.bool_)
    flags[row] = True
    return flags


def _knees_and_crossings(
    placed: Placed, days: Days
) -> tuple[list[date | None], Numbers, list[list[date | None]]]:
    before, after, swapped = placed.before, placed.after, placed.swapped
    knee = before.ageing.knee_age - before.start_age
    knee[swapped] = after.ageing.knee_age - after.start_age
    factor = before.ageing.knee_factor.copy()
    factor[swapped] = after.ageing.knee_factor
    crossings = []
    for wear in CROSSINGS:
        column = _crossing(before, wear)
        column[swapped] = _crossing(after, wear)
        crossings.append(_known_days(days, column))
    return _known_days(days, knee), factor, crossings


def _crossing(course: Courses, wear: float) -> Numbers:
    level = np.full(len(course.start_age), 1.0 - wear)
    column: Numbers = first_age_at(course.ageing, level) - course.start_age
    return column


def _known_days(days: Days, column: Numbers) -> list[date | None]:
    known = column <= len(days) - 1 + HORIZON
    whole = np.where(known, np.floor(column), 0).astype("timedelta64[D]")
    return [
        day if there else None
        for day, there in zip((days[0] + whole).tolist(), known.tolist(), strict=True)
    ]


def _drops(placed: Placed, days: Days, seen: Flags, row: int) -> tuple[Drop, ...]:
    before = placed.before
    column = int(before.drop_column[row])
    if column >= min(seen.shape[1], int(placed.swap_column[row])):
        return ()
    size = float(before.ageing.drop_size[row])
    held = before.held[row]
    low = held <= held[max(column - 1, 0)] - size / 2
    low &= seen[row]
    low[:column] = False
    # Without a reading from before, no reading shows that anything was lost.
    low &= seen[row, :column].any()
    low[placed.swap_column[row] :] = False
    shown_on = _day(days, int(low.argmax())) if low.any() else None
    return (Drop(_day(days, column), round(100 * size, 2), shown_on),)
