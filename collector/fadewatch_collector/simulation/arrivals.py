"""Which readings arrive, on which day, and under which date."""

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.simulation.events import Events, draw_events
from fadewatch_collector.simulation.fleet import Days, Fleet, Mix, Rows, Strays, Whole

YEAR = 365
WRONG_CLOCK_YEARS = (-20, 60)  # a flat clock cell gives an old date, a slip a far one


def draw_presence(
    rng: np.random.Generator, mix: Mix, days: Days, packs: int
) -> NDArray[np.bool_]:
    """Draw on which days a reading is made: fewer at weekends, by laptop.

    Packs that came into use or left it inside the window have no reading
    before or after.
    """
    share = rng.beta(2.0, 2.0 / max(mix.missing, 0.01) - 2.0, packs)[:, None]
    # 1970-01-01 was a Thursday; 0 is a Monday.
    weekend = (days.astype(np.int64) + 3) % 7 >= 5  # noqa: PLR2004
    missed = np.where(weekend[None, :], np.sqrt(share), share * 0.8)
    if mix.missing == 0:
        missed = np.zeros_like(missed)
    present: NDArray[np.bool_] = rng.random((packs, len(days))) >= missed
    column = np.arange(len(days))[None, :]
    cut = rng.integers(0, len(days), packs)[:, None]
    fate = rng.random(packs)[:, None]
    present &= ~((fate < mix.fitted) & (column < cut))
    present &= ~((fate > 1 - mix.retired) & (column > cut))
    return present


def quiet(present: NDArray[np.bool_], silences: Events) -> NDArray[np.bool_]:
    """Take away every reading inside a silence or a rest."""
    row, column, _ = silences.cells(present.shape[1])
    heard = present.copy()
    heard[row, column] = False
    return heard


def draw_strays(
    rng: np.random.Generator,
    mix: Mix,
    days: Days,
    matrices: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]],
) -> Strays:
    """Draw repeats, wrong clocks and late days.

    Readings made under a wrong clock are taken out of the matrices, in place.

    Parameters
    ----------
    matrices
        Design capacity, full-charge capacity and cycle count by pack and day.
    """
    shape = matrices[1].shape
    repeats = draw_events(rng, shape, mix.repeats_a_year, (1, 1))
    row, column, _ = _arrived(repeats, matrices[1])
    again = _rows(days, matrices, row, column, np.zeros(len(row), dtype=np.int64))
    clocks = draw_events(rng, shape, mix.wrong_clocks_a_year, (1, 20))
    years = rng.integers(*WRONG_CLOCK_YEARS, len(clocks))
    shift = np.where(years == 0, -1, years) * YEAR
    wrong_row, wrong_column, event = _arrived(clocks, matrices[1])
    wrong = _rows(days, matrices, wrong_row, wrong_column, shift[event])
    for matrix in matrices:
        matrix[wrong_row, wrong_column] = np.nan
    late = draw_events(rng, shape, mix.late_days_a_year, (1, 1))
    late_row, late_column, _ = _arrived(late, matrices[1])
    return Strays(
        rows=Rows(
            *(
                np.concatenate([getattr(again, name), getattr(wrong, name)])
                for name in Rows.__dataclass_fields__
            )
        ),
        wrong_clock=np.repeat([False, True], [len(again), len(wrong)]),
        came_on=np.concatenate([column, wrong_column]),
        late_pack=late_row,
        late_day=late_column,
        late_by=rng.integers(1, 21, len(late_row)),
    )


def _arrived(events: Events, full: NDArray[np.float32]) -> tuple[Whole, Whole, Whole]:
    row, column, event = events.cells(full.shape[1])
    there = ~np.isnan(full[row, column])
    # Two events on one cell are one.
    _, once = np.unique(row[there] * full.shape[1] + column[there], return_index=True)
    return row[there][once], column[there][once], event[there][once]


def _rows(
    days: Days,
    matrices: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]],
    row: Whole,
    column: Whole,
    shift: Whole,
) -> Rows:
    design, full, cycles = (matrix[row, column].astype(float) for matrix in matrices)
    measured_on = days[column] + shift.astype("timedelta64[D]")
    return Rows(row, measured_on, design, full, cycles)


def as_arrived(fleet: Fleet) -> Rows:
    """Give every reading of the fleet in the order in which it arrived.

    Readings of one day follow the order of the packs.
    """
    matrices = (fleet.design_capacity, fleet.full_charge_capacity, fleet.cycle_count)
    delay = np.zeros(fleet.full_charge_capacity.shape, dtype=np.int16)
    delay[fleet.strays.late_pack, fleet.strays.late_day] = fleet.strays.late_by
    # Transposed, so that cells come out day by day.
    column, row = np.nonzero(~np.isnan(fleet.full_charge_capacity).T)
    usual = _rows(fleet.days, matrices, row, column, np.zeros_like(row))
    came_on = np.concatenate([column + delay[row, column], fleet.strays.came_on])
    order = np.argsort(came_on.astype(np.int16), kind="stable")
    return Rows(
        *(
            np.concatenate([getattr(usual, name), getattr(fleet.strays.rows, name)])[
                order
            ]
            for name in Rows.__dataclass_fields__
        )
    )
