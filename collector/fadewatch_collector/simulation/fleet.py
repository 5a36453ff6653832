"""A simulated fleet: what arrived, and the truth behind it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.truth import PackTruth

Days = NDArray[np.datetime64]
Numbers = NDArray[np.float64]
Whole = NDArray[np.int64]
CapacityUnit = Literal["mWh", "mAh"]


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Readings in the order in which they arrived, one element a reading.

    Attributes
    ----------
    pack
        Position of the pack in the fleet.
    measured_on
        Day by the laptop's own clock, which may be years wrong.
    design_capacity, full_charge_capacity
        [the pack's own unit]
    cycle_count
        NaN where the pack does not count.
    """

    pack: Whole
    measured_on: Days
    design_capacity: Numbers
    full_charge_capacity: Numbers
    cycle_count: Numbers

    def __len__(self) -> int:
        """Count the readings."""
        return len(self.pack)


@dataclass(frozen=True, slots=True, eq=False)
class Strays:
    """What the matrices of a fleet cannot hold, one element a reading.

    Attributes
    ----------
    rows
        Second readings of a day, and readings made under a wrong clock.
    wrong_clock
        Which of these were made under a wrong clock.
    came_on
        For each of these, the column of the day on which it arrived.
    late_pack, late_day, late_by
        Cells of the matrices that arrived some days late [day].
    """

    rows: Rows
    wrong_clock: NDArray[np.bool_]
    came_on: Whole
    late_pack: Whole
    late_day: Whole
    late_by: Whole


@dataclass(frozen=True, slots=True, eq=False)
class Fleet:
    """Histories of many packs over one window of days.

    The matrices have one row a pack and one column a day. They hold what is known
    once every reading is in its place; `arrivals.as_arrived` gives the same
    readings as they came, with repeats, wrong clocks and late days.

    Attributes
    ----------
    days
        The window [day], ascending; its last is the end asked for.
    pack_types
        Maker and model, for borrowing from packs of the same type.
    units
        Unit of each pack's capacities.
    design_capacity
        Reported design capacity by day [pack's unit]; NaN where nothing arrived.
    full_charge_capacity
        Reported full-charge capacity by day [pack's unit]; NaN where nothing arrived.
    cycle_count
        Reported by day; NaN where nothing arrived or the pack does not count.
    true_capacity
        Capacity that the pack in place really had, by day [pack's unit].
    truths
        One a pack.
    strays
        Repeats, wrong clocks and late days.
    """

    days: Days
    pack_ids: tuple[str, ...]
    pack_types: tuple[str, ...]
    units: tuple[CapacityUnit, ...]
    design_capacity: NDArray[np.float32]
    full_charge_capacity: NDArray[np.float32]
    cycle_count: NDArray[np.float32]
    true_capacity: NDArray[np.float32]
    truths: tuple[PackTruth, ...]
    strays: Strays


@dataclass(frozen=True, slots=True)
class Mix:
    """How often each phenomenon occurs; the defaults are a mixed office fleet.

    Shares are fractions of packs; the names ending in `_a_year` are expected
    events for each pack and year. All are ours, chosen to be harder than most
    fleets: no published survey of laptop gauges gives such rates.

    Attributes
    ----------
    noise
        Day-to-day noise of a typical gauge [fraction of design].
    stale, occasional
        Gauges that learn once in months, or every few days or weeks; the rest
        learn on most days.
    limited
        Gauges that step in bounds.
    frozen
        Gauges that report the design capacity for ever.
    knee
        Packs whose fade bends at some time in their life.
    drop
        Packs with one real drop inside the window.
    swap, weak_serial
        Histories that hold a second pack under the same name, and names that do
        not tell packs apart; a swap inside a history needs a weak name.
    no_cycle_count
        Packs that do not count.
    fitted, retired
        Packs that came into use, or left it, inside the window.
    worn_out
        Least and most health [fraction of design] at which a pack is taken out
        of use.
    missing
        Days without a reading, typical laptop.
    """

    noise: float = 0.010
    stale: float = 0.15
    occasional: float = 0.35
    limited: float = 0.20
    frozen: float = 0.02
    knee: float = 0.45
    drop: float = 0.04
    swap: float = 0.01
    weak_serial: float = 0.05
    no_cycle_count: float = 0.15
    fitted: float = 0.08
    retired: float = 0.05
    worn_out: tuple[float, float] = (0.25, 0.55)
    false_cliffs_a_year: float = 0.15
    dips_a_year: float = 0.10
    nonsense_a_year: float = 0.5
    rests_a_year: float = 1.0
    silences_a_year: float = 0.5
    wrong_clocks_a_year: float = 0.1
    repeats_a_year: float = 3.0
    late_days_a_year: float = 3.0
    missing: float = 0.25


OFFICE = Mix()
