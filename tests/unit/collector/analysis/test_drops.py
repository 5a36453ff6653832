import numpy as np
import pytest
import ruptures

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.figures import Drops
from tests.unit.collector.analysis.made import (
    FIRST_DAY,
    at,
    histories,
    noise,
    on_last_day,
    straight,
)


def fading(days: int = 240, seed: int = 1) -> FloatArray:
    return straight(days, 0.008, 0.95) + noise(days, 0.01, seed)


def with_drop(size: float, on: int = 150, days: int = 240, seed: int = 1) -> FloatArray:
    health = fading(days, seed)
    health[on:] -= size
    return health


def drop_after(health: FloatArray, day: int) -> Drops:
    return at(histories(health), day).drop


@pytest.mark.parametrize("size", [0.10, 0.15, 0.25, 0.40])
def test_a_lasting_drop_is_found_and_dated(size: float) -> None:
    drop = on_last_day(histories(with_drop(size))).drop
    assert drop.confirmed[0]
    assert drop.on[0] == pytest.approx(FIRST_DAY + 150, abs=2)
    assert drop.size[0] == pytest.approx(size, abs=0.012)
    assert drop.wear_before[0] == pytest.approx(0.087, abs=0.01)


@pytest.mark.parametrize(("size", "days"), [(0.15, 3), (0.10, 8)])
def test_a_drop_is_confirmed_the_sooner_the_larger_it_is(
    size: float, days: int
) -> None:
    health = with_drop(size)
    assert drop_after(health, 150 + days).confirmed[0]


def test_the_first_readings_of_a_drop_leave_it_unconfirmed() -> None:
    drop = drop_after(with_drop(0.10), 154)
    assert drop.size[0] == pytest.approx(0.10, abs=0.02)
    assert not drop.confirmed[0]


def test_the_date_of_the_largest_step_is_that_of_a_change_point_library() -> None:
    for seed in range(5):
        health = with_drop(0.12, seed=seed)
        ours = on_last_day(histories(health)).drop.on[0] - FIRST_DAY
        theirs = ruptures.KernelCPD(kernel="linear").fit(health).predict(n_bkps=1)[0]
        assert ours == pytest.approx(theirs, abs=2)


@pytest.mark.parametrize("depth", [0.03, 0.05, 0.06])
def test_a_dip_of_some_weeks_is_no_drop(depth: float) -> None:
    health = fading()
    health[150:185] -= depth
    for day in range(150, 240, 3):
        assert np.isnan(drop_after(health, day).on[0])


@pytest.mark.parametrize("depth", [0.06, 0.08])
def test_a_false_cliff_that_comes_back_within_days_is_never_confirmed(
    depth: float,
) -> None:
    health = fading()
    health[150:154] -= depth
    for day in range(148, 170):
        assert not drop_after(health, day).confirmed[0]


def test_a_drop_that_comes_back_is_withdrawn() -> None:
    health = fading()
    health[120:150] -= 0.12
    assert drop_after(health, 140).confirmed[0]
    assert np.isnan(drop_after(health, 175).on[0])


def test_a_stale_gauge_that_steps_to_the_truth_shows_no_drop() -> None:
    # 9 % after nine quiet months at 1 % a month.
    learning = straight(60, 0.01, 1.0) + noise(60, 0.004)
    quiet = np.full(274, learning[-1])
    after = np.full(60, learning[-1] - 0.09) + noise(60, 0.004, 2)
    health = np.concatenate((learning, quiet, after))
    for day in range(334, 394, 5):
        assert np.isnan(drop_after(health, day).on[0])


def test_a_stale_gauge_still_shows_a_loss_that_no_fade_explains() -> None:
    learning = straight(60, 0.005, 1.0) + noise(60, 0.004)
    health = np.concatenate(
        (learning, np.full(90, learning[-1]), np.full(20, learning[-1] - 0.3))
    )
    assert on_last_day(histories(health)).drop.confirmed[0]


def test_silence_explains_what_fade_may_have_taken_meanwhile() -> None:
    health = fading(200)
    known = histories(health)
    late = known.day + np.where(np.arange(200) >= 150, 180, 0).astype(np.int32)
    lowered = np.where(np.arange(200) >= 150, health - 0.02, health)
    moved = type(known)(
        known.pack_ids,
        known.offsets,
        late,
        (lowered * 50_000).astype(np.float32),
        known.design,
        known.cycles,
    )
    assert np.isnan(on_last_day(moved).drop.on[0])


@pytest.mark.parametrize("days_a_step", [1, 2])
def test_a_run_of_limited_steps_is_one_cliff(days_a_step: int) -> None:
    # A gauge that steps 256 mAh at most shows 16 % of 5,000 mAh in four updates.
    health = fading()
    for step in range(4):
        health[150 + days_a_step * step :] -= min(0.0512, 0.16 - 0.0512 * step)
    drop = on_last_day(histories(health)).drop
    assert drop.confirmed[0]
    assert drop.size[0] == pytest.approx(0.16, abs=0.02)
    assert FIRST_DAY + 148 <= drop.on[0] <= FIRST_DAY + 150 + 4 * days_a_step


def test_a_knee_is_no_drop() -> None:
    before, after = straight(150, 0.008, 0.95), straight(150, 0.05, 0.91)
    health = np.concatenate((before, after)) + noise(300)
    for day in range(150, 300, 5):
        assert np.isnan(drop_after(health, day).on[0])


def test_of_two_drops_the_newer_one_is_shown() -> None:
    health = with_drop(0.12, on=80)
    health[170:] -= 0.15
    drop = on_last_day(histories(health)).drop
    assert drop.on[0] == pytest.approx(FIRST_DAY + 170, abs=2)


def test_noise_alone_raises_no_alarm_in_a_hundred_pack_years() -> None:
    rows = [fading(365, seed) for seed in range(100)]
    known = histories(*rows)
    for day in range(30, 365, 15):
        assert np.isnan(at(known, day).drop.on).all()


def test_a_false_cliff_is_hardly_ever_confirmed_however_the_noise_falls() -> None:
    rows = [fading(200, seed) for seed in range(60)]
    for health in rows:
        health[150:154] -= 0.08
    known = histories(*rows)
    confirmed = np.array([at(known, day).drop.confirmed for day in range(150, 172)])
    assert confirmed.any(axis=0).sum() <= 1


def test_a_drop_of_ten_percent_is_found_within_two_weeks_however_the_noise_falls() -> (
    None
):
    known = histories(*(with_drop(0.10, seed=seed) for seed in range(60)))
    assert at(known, 150 + 14).drop.confirmed.sum() >= 58


def test_a_fresh_fall_in_doubt_does_not_hide_an_older_drop() -> None:
    health = with_drop(0.20, on=100)
    health[150:] -= 0.09
    assert at(histories(health), 99 + 10).drop.confirmed[0]
    for day in range(150, 157):
        drop = drop_after(health, day)
        assert drop.confirmed[0]
        assert drop.on[0] == pytest.approx(FIRST_DAY + 100, abs=2)


def test_a_cell_that_collapses_by_a_percent_a_day_has_a_knee_and_no_drop() -> None:
    before = straight(120, 0.008, 0.95)
    health = np.concatenate((before, before[-1] - 0.009 * np.arange(30)))
    for level in (health, health + noise(150, 0.004)):
        for day in range(122, 150, 3):
            assert not drop_after(level, day).confirmed[0]


def test_a_gauge_that_walks_down_eight_updates_shows_one_drop() -> None:
    health = fading()
    for step in range(8):
        health[150 + step :] -= 0.034
    drop = drop_after(health, 164)
    assert drop.confirmed[0]
    assert drop.size[0] == pytest.approx(8 * 0.034, abs=0.02)


def test_a_gauge_that_held_for_three_weeks_hides_no_drop_of_twelve_percent() -> None:
    learnt = straight(150, 0.01, 0.95) + noise(150, 0.006)
    held = np.repeat(learnt[::21], 21)[:150]
    health = np.concatenate((held, np.full(20, held[-1] - 0.12)))
    assert on_last_day(histories(health)).drop.confirmed[0]


def test_only_the_newest_events_of_a_pack_are_weighed() -> None:
    health = straight(360, 0.001, 1.0) + noise(360, 0.003)
    for on in (60, 130, 200, 270):
        # Four falls that come back: none stands, and no more are weighed than said.
        health[on : on + 25] -= 0.12

    drop = on_last_day(histories(health)).drop

    assert np.isnan(drop.on[0])
