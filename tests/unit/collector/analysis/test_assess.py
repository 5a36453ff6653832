from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import BANDS, Assessments, Thresholds, bands
from fadewatch_collector.analysis.series import Histories
from tests.unit.collector.analysis.made import (
    DESIGN,
    FIRST_DAY,
    at,
    histories,
    noise,
    on_last_day,
    straight,
)

DATES = (
    "as_of",
    "first_day",
    "last_day",
    "on",
    "earliest",
    "latest",
    "gauge_since",
    "common_on",
)


def flat(figures: Any, prefix: str = "") -> dict[str, np.ndarray]:
    """Lay all arrays of an assessment side by side."""
    found: dict[str, np.ndarray] = {}
    for field in fields(figures):
        value = getattr(figures, field.name)
        if is_dataclass(value):
            found |= flat(value, f"{prefix}{field.name}.")
        elif isinstance(value, np.ndarray):
            found[prefix + field.name] = value
    return found


def same(first: Assessments, second: Assessments, days: int = 0) -> None:
    ours, theirs = flat(first), flat(second)
    for name, value in ours.items():
        moved = value + days if name.split(".")[-1] in DATES else value
        assert np.allclose(moved, theirs[name], rtol=2e-4, atol=1e-6, equal_nan=True), (
            name
        )


def varied() -> list[np.ndarray]:
    """Make packs that between them show everything an assessment can say."""
    dropped = straight(300, 0.008, 0.9) + noise(300, 0.008, 2)
    dropped[200:] -= 0.2
    bent = np.concatenate((straight(200, 0.004), straight(100, 0.04, 0.97)))
    return [
        straight(300, 0.01) + noise(300),
        dropped,
        bent + noise(300, 0.005, 3),
        np.concatenate((straight(200) + noise(200), np.full(100, 0.93))),
        np.ones(300),
        straight(300, 0.03, 0.8) + noise(300, 0.01, 4),
        straight(8),
    ]


def test_wear_now_follows_the_pack_not_the_mean_of_its_history() -> None:
    found = on_last_day(histories(straight(300, 0.02) + noise(300)))
    assert found.wear[0] == pytest.approx(0.02 * 299 / 30.4375, abs=0.008)


def test_wear_example_of_3960_of_4400_mah_is_a_tenth() -> None:
    # charge_full 3,960,000 uAh of charge_full_design 4,400,000 uAh: wear 10 %.
    known = Histories.from_rows(
        ["a"],
        pack=[0] * 10,
        day=np.arange(10) + FIRST_DAY,
        full=[3_960_000.0] * 10,
        design=[4_400_000.0] * 10,
    )
    assert on_last_day(known).wear[0] == pytest.approx(0.1, abs=5e-4)


def test_fade_is_the_slope_with_an_interval_around_it() -> None:
    fade = on_last_day(histories(straight(400, 0.01) + noise(400, 0.005))).fade
    assert 30.4375 * fade.estimate[0] == pytest.approx(0.01, rel=0.1)
    assert fade.low[0] < fade.estimate[0] < fade.high[0]


# Use changes from quarter to quarter, by a quarter or so; the rate now is taken to be
# that over the newest 40 % of the year.
def test_fade_intervals_hold_the_true_rate_four_times_in_five() -> None:
    paces = np.random.default_rng(3).lognormal(0.0, 0.25, (200, 4))
    daily = 0.01 / 30.4375 * np.repeat(paces, 92, axis=1)[:, :365]
    true = daily[:, -146:].mean(axis=1)
    rows = [
        0.95 - np.cumsum(loss) + noise(365, 0.01, s) for s, loss in enumerate(daily)
    ]
    fade = on_last_day(histories(*rows)).fade
    inside = np.mean((fade.low <= true) & (true <= fade.high))
    assert 0.72 <= inside <= 0.95


def test_fade_per_cycle_divides_by_the_cycles_counted() -> None:
    known = histories(straight(400, 0.01) + noise(400, 0.003))
    counted = Histories(
        known.pack_ids,
        known.offsets,
        known.day,
        known.full,
        known.design,
        (np.arange(400) * 0.5).astype(np.float32),
    )
    found = on_last_day(counted)
    ratio = found.fade_per_cycle.estimate / found.fade.estimate
    assert ratio[0] == pytest.approx(2.0, rel=0.01)


def test_without_cycles_there_is_no_fade_per_cycle() -> None:
    found = on_last_day(histories(straight(400)))
    assert np.isnan(found.fade_per_cycle.estimate[0])


@pytest.mark.parametrize(
    ("wear", "band"),
    [
        (np.nan, "unknown"),
        (-0.05, "sound"),
        (0.2999, "sound"),
        (0.30, "plan"),
        (0.3999, "plan"),
        (0.40, "replace"),
        (0.9, "replace"),
    ],
)
def test_a_threshold_reached_is_passed(wear: float, band: str) -> None:
    assert BANDS[bands(np.array([wear]), Thresholds())[0]] == band


def test_another_pack_under_the_same_name_starts_a_new_history() -> None:
    worn, new = straight(200, 0.02, 0.75), straight(150, 0.005, 1.02)
    found = on_last_day(histories(np.concatenate((worn, new)) + noise(350, 0.005)))
    assert found.wear[0] == pytest.approx(0.005, abs=0.01)
    assert 30.4375 * found.fade.estimate[0] == pytest.approx(0.005, abs=0.003)
    assert np.isnan(found.drop.on[0])


def test_another_design_capacity_starts_a_new_history() -> None:
    days = 240
    health = np.where(np.arange(days) < 120, straight(days, 0.03), straight(days, 0.0))
    design = np.where(np.arange(days) < 120, 50_000.0, 57_000.0)
    known = Histories.from_rows(
        ["a"],
        pack=np.zeros(days, dtype=int),
        day=np.arange(days) + FIRST_DAY,
        full=(health + noise(days, 0.004)) * design,
        design=design,
    )
    assert 30.4375 * on_last_day(known).fade.estimate[0] < 0.006


def test_a_pack_without_readings_is_unknown_throughout() -> None:
    known = Histories.from_rows(
        ["a", "b"], pack=[1], day=[20_000], full=[9], design=[9]
    )
    found = assess(known, 20_001)
    assert BANDS[found.band[0]] == "unknown"
    assert found.readings.tolist() == [0, 1]
    assert found.last_day.tolist() == [-1, 20_000]
    for values in (found.wear, found.fade.estimate, found.plan.on, found.drop.on):
        assert np.isnan(values[0])


def test_no_packs_at_all_give_an_empty_assessment() -> None:
    known = Histories.from_rows([], pack=[], day=[], full=[], design=[])
    assert len(assess(known, 20_000)) == 0


def test_later_readings_never_change_what_was_said_before() -> None:
    rows = varied()
    whole = histories(*rows)
    for day in (40, 150, 205, 230, 260):
        known = histories(*(row[: day + 1] for row in rows))
        same(at(known, day), at(whole, day))


def test_packs_are_assessed_alike_alone_and_in_a_batch() -> None:
    rows = varied()
    together = on_last_day(histories(*rows))
    for i, row in enumerate(rows):
        alone = assess(histories(row), int(together.as_of[i]))
        for name, value in flat(alone).items():
            assert np.allclose(
                value[0], flat(together)[name][i], rtol=2e-4, atol=1e-6, equal_nan=True
            ), name


def test_a_batch_too_large_for_one_piece_is_cut_without_trace() -> None:
    row = straight(365, 0.01) + noise(365)
    many = on_last_day(histories(*[row] * 1200))
    assert len(many) == 1200
    assert np.unique(many.wear).size == 1
    assert many.pack_ids[-1] == "pack-1199"


@settings(max_examples=15, deadline=None)
@given(days=st.integers(-12_000, 20_000))
def test_shifting_all_dates_shifts_all_dates_and_nothing_else(days: int) -> None:
    rows = varied()
    here = on_last_day(histories(*rows))
    there = on_last_day(histories(*rows, first_day=FIRST_DAY + days))
    same(here, there, days)


@settings(max_examples=15, deadline=None)
@given(unit=st.sampled_from([1e-3, 0.25, 1.0, 7.7, 1e3, 1e6]))
def test_the_unit_of_capacity_changes_nothing(unit: float) -> None:
    known = histories(*varied())
    other = Histories(
        known.pack_ids,
        known.offsets,
        known.day,
        (known.full * unit).astype(np.float32),
        (known.design * unit).astype(np.float32),
        known.cycles,
    )
    ours, theirs = on_last_day(known), on_last_day(other)
    for name in ("wear", "band", "gauge"):
        assert np.allclose(getattr(ours, name), getattr(theirs, name), atol=1e-5)
    assert np.array_equal(ours.drop.on, theirs.drop.on, equal_nan=True)


@settings(max_examples=150, deadline=None)
@given(
    full=arrays(
        np.float64,
        st.integers(0, 60),
        elements=st.one_of(
            st.floats(allow_nan=False, allow_infinity=False),
            st.floats(0, 70_000),
            st.sampled_from([0.0, 65_535.0, DESIGN, -1.0]),
        ),
    ),
    design=st.sampled_from([DESIGN, 0.0, -5.0, 1e30]),
    step=st.integers(1, 400),
    cycles=st.sampled_from([np.nan, 0.0, -1.0, 65_535.0]),
    later=st.integers(-100, 5000),
)
def test_any_finite_input_is_assessed_without_error_or_contradiction(
    full: np.ndarray, design: float, step: int, cycles: float, later: int
) -> None:
    with np.errstate(over="ignore"):
        known = Histories.from_rows(
            ["a", "b"],
            pack=np.zeros(full.size, dtype=int),
            day=FIRST_DAY + step * np.arange(full.size),
            full=full,
            design=np.full(full.size, design),
            cycles=np.full(full.size, cycles),
        )
    found = assess(known, FIRST_DAY + later)
    measured = found.readings > 0
    assert np.array_equal(np.isnan(found.wear), ~measured)
    for crossing in (found.plan, found.replace):
        there = ~np.isnan(crossing.on)
        assert np.array_equal(there, ~np.isnan(crossing.earliest))
        assert np.all(crossing.earliest[there] <= crossing.on[there])
        assert np.all(crossing.on[there] <= crossing.latest[there])
    assert not np.any(np.isinf(np.concatenate([found.fade.low, found.fade.high])))
    assert np.array_equal(np.isnan(found.drop.on), np.isnan(found.drop.size))
