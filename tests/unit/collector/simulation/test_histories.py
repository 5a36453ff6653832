from collections import Counter
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from fadewatch_collector.simulation.arrivals import as_arrived
from fadewatch_collector.simulation.fleet import OFFICE, Fleet, Mix
from fadewatch_collector.simulation.histories import simulate
from fadewatch_collector.simulation.truth import Phenomenon

END = date(2026, 6, 30)
QUIET = Mix(
    noise=0.0005,
    stale=0.0,
    occasional=0.0,
    limited=0.0,
    frozen=0.0,
    drop=0.0,
    swap=0.0,
    weak_serial=0.0,
    fitted=0.0,
    retired=0.0,
    worn_out=(0.0, 0.0),
    false_cliffs_a_year=0.0,
    dips_a_year=0.0,
    nonsense_a_year=0.0,
    rests_a_year=0.0,
    silences_a_year=0.0,
    wrong_clocks_a_year=0.0,
    repeats_a_year=0.0,
    late_days_a_year=0.0,
    missing=0.0,
)


@pytest.fixture(scope="module")
def office() -> Fleet:
    return simulate(3000, days=365, end=END, seed=20)


def shown(fleet: Fleet) -> np.ndarray:
    return fleet.full_charge_capacity / fleet.design_capacity


def having(fleet: Fleet, kind: Phenomenon) -> np.ndarray:
    return np.array([kind in truth.phenomena for truth in fleet.truths])


def test_the_same_arguments_give_the_same_fleet() -> None:
    one, again = (simulate(50, days=90, end=END, seed=4) for _ in range(2))
    np.testing.assert_array_equal(one.full_charge_capacity, again.full_charge_capacity)
    assert one.truths == again.truths


def test_another_seed_gives_another_fleet() -> None:
    one, other = (simulate(50, days=90, end=END, seed=seed) for seed in (4, 5))
    assert one.truths != other.truths


def test_the_window_ends_on_the_day_asked_for(office: Fleet) -> None:
    assert office.days[-1] == np.datetime64(END)
    assert len(office.days) == 365
    assert office.full_charge_capacity.shape == (3000, 365)


def test_pack_ids_are_unique(office: Fleet) -> None:
    assert len(set(office.pack_ids)) == 3000


def test_every_phenomenon_occurs_and_is_labelled(office: Fleet) -> None:
    seen = Counter(kind for truth in office.truths for kind in truth.phenomena)
    assert set(seen) == set(Phenomenon)
    assert min(seen.values()) >= 10


def test_packs_count_in_either_unit(office: Fleet) -> None:
    assert set(office.units) == {"mWh", "mAh"}


def test_a_quiet_gauge_reports_the_truth() -> None:
    fleet = simulate(100, days=120, end=END, seed=8, mix=QUIET)
    off = fleet.full_charge_capacity - fleet.true_capacity
    # A gauge that has not learnt yet may hold the design capacity for a few days.
    settled = (off / fleet.design_capacity)[:, 15:]
    assert np.nanquantile(np.abs(settled), 0.99) < 0.01


def test_frozen_gauges_report_the_design_capacity_for_ever(office: Fleet) -> None:
    frozen = (
        having(office, Phenomenon.FROZEN)
        & ~having(office, Phenomenon.NONSENSE)
        & ~having(office, Phenomenon.SWAP)
    )
    values = shown(office)[frozen]
    assert frozen.sum() > 10
    assert (values[~np.isnan(values)] == 1.0).all()


def test_drops_are_8_to_40_percent_and_truth_falls_by_as_much(office: Fleet) -> None:
    checked = 0
    for row, truth in enumerate(office.truths):
        for drop in truth.drops:
            assert 8 <= drop.percent <= 40
            column = (drop.on - (END - timedelta(days=364))).days
            silent = np.isnan(office.design_capacity[row]).all()
            if truth.swaps or silent or column + 6 >= 365:
                continue
            true = office.true_capacity[row] / np.nanmax(office.design_capacity[row])
            fallen = 100 * (true[column - 1] - true[column + 6])
            assert drop.percent - 0.1 <= fallen <= drop.percent + 8
            checked += 1
    assert checked > 50


def test_a_drop_shows_on_or_after_the_day_it_happens(office: Fleet) -> None:
    drops = [drop for truth in office.truths for drop in truth.drops]
    lags = [(drop.shown_on - drop.on).days for drop in drops if drop.shown_on]
    assert min(lags) >= 0
    assert np.median(lags) <= 5
    assert len(lags) > 0.6 * len(drops)


def test_crossings_agree_with_true_capacity_inside_the_window(office: Fleet) -> None:
    checked = 0
    for row, truth in enumerate(office.truths):
        crossing = truth.crossings[1]
        if crossing is None or not timedelta() < END - crossing < timedelta(days=364):
            continue
        if truth.swaps or np.isnan(office.design_capacity[row]).all():
            continue
        column = 364 - (END - crossing).days
        true = office.true_capacity[row] / np.nanmax(office.design_capacity[row])
        assert true[column] <= 0.7 + 1e-5
        assert true[column - 1] > 0.7 - 1e-5
        checked += 1
    assert checked > 50


def test_crossings_come_in_order(office: Fleet) -> None:
    for truth in office.truths:
        known = [day for day in truth.crossings if day is not None]
        assert known == sorted(known)
        assert truth.crossings[: len(known)] == tuple(known)


def test_a_swap_brings_a_fuller_pack_with_fewer_cycles() -> None:
    fleet = simulate(400, days=365, end=END, seed=3, mix=replace(OFFICE, swap=0.2))
    fewer, better = [], []
    for row, truth in enumerate(fleet.truths):
        if not truth.swaps:
            continue
        column = 364 - (END - truth.swaps[0]).days
        assert Phenomenon.WEAK_SERIAL in truth.phenomena
        true, cycles = fleet.true_capacity[row], fleet.cycle_count[row]
        if np.isnan(cycles).all():
            continue
        fewer.append(np.nanmax(cycles[column:]) < np.nanmax(cycles[:column]))
        better.append(true[column] > true[column - 1])
    assert np.mean(fewer) > 0.7
    assert np.mean(better) > 0.7


def test_rows_hold_every_cell_and_the_strays(office: Fleet) -> None:
    rows = as_arrived(office)
    cells = int((~np.isnan(office.full_charge_capacity)).sum())
    assert len(rows) == cells + len(office.strays.rows)
    assert len(rows) > cells


def test_wrong_clocks_are_years_off(office: Fleet) -> None:
    rows = as_arrived(office)
    off = (rows.measured_on < office.days[0]) | (rows.measured_on > office.days[-1])
    packs = set(rows.pack[off])
    assert packs == set(np.flatnonzero(having(office, Phenomenon.WRONG_CLOCK)))


def test_some_days_arrive_after_later_ones(office: Fleet) -> None:
    rows = as_arrived(office)
    late = np.flatnonzero(having(office, Phenomenon.OUT_OF_ORDER))[0]
    mine = rows.measured_on[rows.pack == late]
    assert (np.diff(mine) < np.timedelta64(0, "D")).any() or len(mine) == 1


def test_without_late_days_and_strays_rows_come_in_order_of_days() -> None:
    fleet = simulate(20, days=60, end=END, seed=2, mix=QUIET)
    rows = as_arrived(fleet)
    assert (np.diff(rows.measured_on) >= np.timedelta64(0, "D")).all()
    assert len(rows) == 20 * 60


def test_values_are_whole_steps_of_the_unit(office: Fleet) -> None:
    milliwatts = np.array([unit == "mWh" for unit in office.units])
    plain = milliwatts & ~having(office, Phenomenon.NONSENSE)
    plain &= ~having(office, Phenomenon.SWAP)
    values = office.full_charge_capacity[plain]
    assert (values[~np.isnan(values)] % 10 == 0).all()
