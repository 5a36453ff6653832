"""Histories of many packs, kept as flat arrays with offsets.

Days are whole days since 1970-01-01 (UTC). Full-charge and design capacity stand in
one unit per reading, whichever it is: wear needs no more than their ratio.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from fadewatch_collector.analysis.arrays import CountArray, DayArray, SingleArray

FIRST_CREDIBLE_DAY = 7305
"""1990-01-01 [d]: before any smart battery; an unset clock shows 1970 or 1980."""
LAST_CREDIBLE_DAY = 47482
"""2100-01-01 [d]: a date field beyond it is garbage."""


@dataclass(frozen=True, slots=True, eq=False)
class Histories:
    """Daily readings of a batch of packs, in time order, one a day at most.

    Parameters
    ----------
    pack_ids
        One name per pack.
    offsets
        Pack ``i`` owns the entries ``offsets[i]:offsets[i + 1]`` of the flat arrays.
    day
        Day of the reading [d since 1970-01-01], rising within a pack.
    full
        Full-charge capacity, in the unit of ``design``; NaN or <= 0 when unusable.
    design
        Design capacity, in the unit of ``full``.
    cycles
        Cycle count; NaN where unknown.
    """

    pack_ids: tuple[str, ...]
    offsets: CountArray
    day: DayArray
    full: SingleArray
    design: SingleArray
    cycles: SingleArray

    @classmethod
    def from_rows(
        cls,
        pack_ids: Sequence[str],
        *,
        pack: ArrayLike,
        day: ArrayLike,
        full: ArrayLike,
        design: ArrayLike,
        cycles: ArrayLike | None = None,
    ) -> Self:
        """Build from rows in any order.

        ``pack[k]`` is the index into ``pack_ids`` of the pack that row ``k`` is of.
        Rows of one pack and day become their median (a median of each column), rows
        with an impossible date are left out. Packs without a row stay, empty.
        """
        names = np.asarray(pack, dtype=np.int64)
        days = np.asarray(day, dtype=np.float64)
        columns = [np.asarray(c, dtype=np.float32) for c in (full, design)]
        columns.append(_cycles(cycles, names.size))
        credible = (days >= FIRST_CREDIBLE_DAY) & (days <= LAST_CREDIBLE_DAY)
        names, whole = names[credible], days[credible].astype(np.int32)
        columns = [c[credible] for c in columns]
        order = np.lexsort((whole, names))
        names, whole = names[order], whole[order]
        first = _starts(names, whole)
        columns = [_median_by_group(c[order], first) for c in columns]
        names, whole = names[first], whole[first]
        offsets = np.searchsorted(names, np.arange(len(pack_ids) + 1))
        return cls(tuple(pack_ids), offsets.astype(np.int64), whole, *columns)

    def __len__(self) -> int:
        """Count the packs."""
        return len(self.pack_ids)

    def one(self, index: int) -> Self:
        """Return pack ``index`` alone, as a batch of one."""
        return self.some(index, index + 1)

    def some(self, start: int, stop: int) -> Self:
        """Return the packs ``start:stop`` as a batch of views (nothing is copied)."""
        low, high = int(self.offsets[start]), int(self.offsets[stop])
        return type(self)(
            self.pack_ids[start:stop],
            self.offsets[start : stop + 1] - low,
            self.day[low:high],
            self.full[low:high],
            self.design[low:high],
            self.cycles[low:high],
        )


def _cycles(cycles: ArrayLike | None, size: int) -> SingleArray:
    if cycles is None:
        return np.full(size, np.nan, dtype=np.float32)
    return np.asarray(cycles, dtype=np.float32)


def _starts(names: CountArray, days: DayArray) -> CountArray:
    """Return where each run of one pack and day begins."""
    fresh = np.ones(names.size, dtype=np.bool_)
    fresh[1:] = (names[1:] != names[:-1]) | (days[1:] != days[:-1])
    return np.flatnonzero(fresh)


def _median_by_group(values: SingleArray, first: CountArray) -> SingleArray:
    """Return the median of each run that begins at ``first``; NaN sorts last."""
    if first.size == values.size:
        return values
    lengths = np.diff(np.append(first, values.size))
    group = np.repeat(np.arange(first.size), lengths)
    ranked = values[np.lexsort((values, group))]
    known = np.add.reduceat(~np.isnan(values), first)
    low = ranked[first + np.maximum(known - 1, 0) // 2]
    high = ranked[first + np.minimum(known // 2, lengths - 1)]
    middle = (low + high) / 2
    return np.where(known > 0, middle, np.float32(np.nan)).astype(np.float32)
