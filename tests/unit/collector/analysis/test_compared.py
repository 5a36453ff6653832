"""Groups of invented packs, alike or not."""

import numpy as np
import pytest

from fadewatch_collector.analysis.compared import (
    SETTLING_DAYS,
    Watched,
    compare_fades,
    compare_lives,
    watches,
)

YEAR = 365.25


def fleet(
    seed: int, count: int = 160, faster: float = 1.0
) -> tuple[Watched, np.ndarray]:
    """Packs made over five years, seen late; every fourth is of the group in question."""
    rng = np.random.default_rng(seed)
    made = rng.uniform(0, 5 * YEAR, count)
    first = made + rng.uniform(0, 1.5 * YEAR, count)
    group = np.arange(count) % 4 == 0
    rate = rng.lognormal(np.log(0.09 / YEAR), 0.3, count) * np.where(group, faster, 1)
    crossing = made + 0.3 / rate
    last = np.full(count, 6.5 * YEAR)
    passed = np.where(crossing <= last, np.maximum(crossing, first), np.nan)
    return Watched(made, first, last, passed, np.ones(count, bool), rate * 30.4), group


def test_a_group_that_fades_twice_as_fast_is_seen_by_both_signals() -> None:
    packs, group = fleet(1, faster=2.0)

    lives = compare_lives(watches(packs), group, ~group)
    fades = compare_fades(packs, group, ~group)

    assert lives is not None
    assert fades is not None
    assert lives.axis == "age"
    assert lives.passed > 1.5 * lives.expected
    assert lives.median.time < 2.6 * YEAR
    assert lives.other_gone < lives.gone
    assert lives.p_value < 1e-4
    assert fades.low <= 2.0 <= fades.high
    assert fades.same_age
    assert fades.p_value < 1e-6


def test_groups_that_are_alike_are_called_different_about_as_often_as_said() -> None:
    false = [0, 0]
    for seed in range(50):
        packs, group = fleet(1000 + seed)
        lives = compare_lives(watches(packs), group, ~group)
        fades = compare_fades(packs, group, ~group)
        assert lives is not None
        assert fades is not None
        false[0] += lives.p_value < 0.1
        false[1] += fades.p_value < 0.1

    # 5 of 50 are said; 3 standard deviations are 6.4.
    assert all(1 <= count <= 11 for count in false)


def test_a_pack_past_the_threshold_when_first_seen_says_nothing_of_its_life() -> None:
    packs = Watched(
        made=np.array([0.0, 0.0]),
        first_seen=np.array([500.0, 500.0]),
        last_seen=np.array([900.0, 900.0]),
        passed=np.array([500.0 + SETTLING_DAYS, 520.0]),
        known=np.ones(2, bool),
        fade=np.ones(2),
    )

    watch = watches(packs)["age"]

    assert watch.usable.tolist() == [False, True]
    assert (watch.entry[1], watch.exit[1]) == (514.0, 520.0)


@pytest.mark.parametrize("made", [np.nan, 501.0, 500.0 - 16 * YEAR])
def test_a_pack_without_a_believable_day_of_making_has_no_age(made: float) -> None:
    packs = Watched(
        made=np.array([made]),
        first_seen=np.array([500.0]),
        last_seen=np.array([900.0]),
        passed=np.array([np.nan]),
        known=np.ones(1, bool),
        fade=np.ones(1),
    )
    found = watches(packs)

    assert not found["age"].usable[0]
    assert found["since first seen"].usable[0]


def test_time_since_first_seen_is_the_axis_where_ages_are_not_told() -> None:
    packs, group = fleet(3, faster=2.0)
    packs.made[group] = np.nan

    lives = compare_lives(watches(packs), group, ~group)

    assert lives is not None
    assert lives.axis == "since first seen"


def test_packs_of_another_age_are_taken_only_where_none_of_the_same_is_there() -> None:
    packs, group = fleet(4)
    packs.made[:], packs.first_seen[:] = np.where(group, 6.0, 2.0) * YEAR, 6.0 * YEAR

    fades = compare_fades(packs, group, ~group)

    assert fades is not None
    assert not fades.same_age


def test_too_few_packs_are_not_compared() -> None:
    packs, _ = fleet(5, count=14)
    few = np.arange(14) < 4

    assert compare_lives(watches(packs), few, ~few) is None
    assert compare_fades(packs, few, ~few) is None
    assert compare_fades(packs, ~few, few) is None


def test_lives_that_all_end_at_once_show_no_difference_to_test() -> None:
    # All at risk pass on one day: the log-rank variance is nothing.
    count = 20
    packs = Watched(
        made=np.zeros(count),
        first_seen=np.full(count, 100.0),
        last_seen=np.full(count, 900.0),
        passed=np.full(count, 700.0),
        known=np.ones(count, bool),
        fade=np.full(count, np.nan),
    )
    group = np.arange(count) < 6

    assert compare_lives(watches(packs), group, ~group) is None


def test_very_many_packs_are_compared_by_evenly_spaced_ranks() -> None:
    few, group = fleet(5, 1600, faster=1.5)
    many, of_many = fleet(5, 4000, faster=1.5)

    thinned = compare_fades(many, of_many, ~of_many)
    whole = compare_fades(few, group, ~group)

    assert thinned is not None
    assert whole is not None
    assert thinned.low <= 1.5 <= thinned.high
    assert thinned.packs == 1000
