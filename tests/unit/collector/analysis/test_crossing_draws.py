"""Totals of drawn crossings against the laws that they are known to follow."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fadewatch_collector.analysis.arrays import CountArray, FloatArray
from fadewatch_collector.analysis.crossing_draws import (
    Forecasts,
    Sharing,
    chance_by,
    drawn_days,
    settled,
)
from fadewatch_collector.analysis.draw_totals import counts_by, draws_for, totals

TODAY = 20_000
ALONE = Sharing(0.0, 0.0)
TOGETHER = Sharing(0.0, 1.0)


def forecasts(*left: tuple[float, float, float], since: int = TODAY) -> Forecasts:
    """Make forecasts of days left: earliest, on, latest."""
    early, on, late = np.array(left, dtype=np.float64).T + since
    return Forecasts(early, on, late, np.full(on.size, float(since)))


def spread_out(packs: int, seed: int = 5) -> Forecasts:
    """Make forecasts all over the next two years."""
    rng = np.random.default_rng(seed)
    on = rng.uniform(5, 700, packs)
    part = rng.uniform(1.2, 3.0, (2, packs))
    return forecasts(*zip(on / part[0], on, on * part[1], strict=True))


def zeros(packs: int) -> CountArray:
    """Make a group, or type, that all packs are in."""
    return np.zeros(packs, dtype=np.int64)


def convolved(chances: FloatArray) -> FloatArray:
    """Return the law of how many of independent events happen, exactly."""
    law = np.ones(1)
    for chance in chances:
        law = np.convolve(law, [1 - chance, chance])
    return law


def test_the_three_points_are_the_10_50_and_90_percent_points() -> None:
    one = forecasts((20, 100, 300))
    days = np.concatenate(
        list(drawn_days(one, zeros(1), seed=1, draws=20_000, sharing=ALONE))
    )
    seen = [np.mean(days <= TODAY + left) for left in (20, 100, 300)]
    # A standard error is at most sqrt(0.25 / 20000) = 0.0035; half a day more is due.
    assert seen == pytest.approx([0.1, 0.5, 0.9], abs=0.014)
    exact = chance_by(one, [TODAY + left for left in (20, 100, 300)])[0]
    assert exact == pytest.approx([0.1, 0.5, 0.9], abs=0.006)


@given(
    left=st.lists(st.floats(1, 3000), min_size=3, max_size=3).map(sorted),
    days=st.lists(st.integers(0, 4000), min_size=2, max_size=2).map(sorted),
)
def test_a_chance_lies_between_0_and_1_and_never_falls(
    left: list[float], days: list[int]
) -> None:
    one = forecasts((left[0], left[1], left[2]))
    first, last = chance_by(one, [TODAY + day for day in days])[0]
    assert 0.0 <= first <= last <= 1.0


def test_the_chance_is_that_of_the_normal_law_of_scipy() -> None:
    known = spread_out(400)
    days = [TODAY, TODAY + 30, TODAY + 365]
    beyond = (
        np.log(np.array(days)[None, :] + 0.5 - TODAY)
        - np.log(known.on - TODAY)[:, None]
    )
    early = np.log((known.on - TODAY) / (known.earliest - TODAY))[:, None]
    late = np.log((known.latest - TODAY) / (known.on - TODAY))[:, None]
    place = beyond / np.where(beyond < 0, early, late) * stats.norm.ppf(0.9)
    assert chance_by(known, days) == pytest.approx(stats.norm.cdf(place), abs=3e-7)


def test_independent_totals_follow_the_poisson_binomial_law() -> None:
    packs, draws = 60, 4000
    known = spread_out(packs)
    days = [TODAY + 30, TODAY + 90, TODAY + 365]
    drawn = counts_by(
        known, zeros(packs), zeros(packs), days, seed=3, draws=draws, sharing=ALONE
    )[:, 0]
    for column, chances in enumerate(chance_by(known, days).T):
        law = convolved(chances)
        assert drawn[:, column].mean() == pytest.approx(
            chances.sum(), abs=4 * np.sqrt(np.sum(chances * (1 - chances)) / draws)
        )
        seen = np.bincount(drawn[:, column], minlength=law.size) / draws
        gap = np.max(np.abs(np.cumsum(seen) - np.cumsum(law)))
        # Kolmogorov's bound for one in a thousand: 1.95 / sqrt(draws).
        assert gap < 1.95 / np.sqrt(draws)


def test_packs_that_share_all_their_error_are_due_together_or_not_at_all() -> None:
    packs, draws = 40, 2000
    known = forecasts(*[(30.0, 90.0, 200.0)] * packs)
    drawn = counts_by(
        known,
        zeros(packs),
        zeros(packs),
        [TODAY + 30, TODAY + 89],
        seed=3,
        draws=draws,
        sharing=TOGETHER,
    )[:, 0]
    assert set(np.unique(drawn)) == {0, packs}
    chance = chance_by(known, [TODAY + 30, TODAY + 89])[0]
    # Draws of what is shared are spread evenly: within one draw of the law.
    assert (drawn == packs).mean(axis=0) == pytest.approx(chance, abs=1.5 / draws)


def test_half_shared_error_follows_the_one_factor_law() -> None:
    # Vasicek: with shared value f, packs are due with Phi((place - sqrt(r) f) /
    # sqrt(1 - r)), independently; the law is the mean of binomial ones over f.
    packs, draws, shared = 50, 6000, 0.5
    known = forecasts(*[(30.0, 90.0, 200.0)] * packs)
    day = TODAY + 45
    drawn = counts_by(
        known,
        zeros(packs),
        zeros(packs),
        [day],
        seed=8,
        draws=draws,
        sharing=Sharing(0.2, 0.3),
    )[:, 0, 0]
    place = stats.norm.ppf(chance_by(known, [day])[0, 0])
    f = stats.norm.ppf((np.arange(2000) + 0.5) / 2000)
    chances = stats.norm.cdf((place - np.sqrt(shared) * f) / np.sqrt(1 - shared))
    law = stats.binom.pmf(np.arange(packs + 1)[:, None], packs, chances).mean(axis=1)
    seen = np.bincount(drawn, minlength=packs + 1) / draws
    assert np.max(np.abs(np.cumsum(seen) - np.cumsum(law))) < 1.95 / np.sqrt(draws)


def test_the_range_of_a_total_is_narrower_than_the_sum_of_ends_and_holds_80_percent() -> (
    None
):
    packs, draws = 200, 3000
    known = spread_out(packs)
    days = [TODAY + 180]
    pairs = np.arange(packs) // 2
    each = totals(counts_by(known, zeros(packs), pairs, days, seed=2, draws=draws))
    drawn = counts_by(known, zeros(packs), zeros(packs), days, seed=2, draws=draws)
    whole = totals(drawn)
    assert each.low.sum() < whole.low[0, 0]
    assert whole.high[0, 0] < each.high.sum()
    inside = (drawn >= whole.low) & (drawn <= whole.high)
    assert 0.8 <= inside.mean() < 0.9


def test_sharing_makes_totals_less_sure_and_keeps_their_mean() -> None:
    packs, days = 300, [TODAY + 180]
    known = spread_out(packs)
    drawn = [
        counts_by(
            known, zeros(packs), zeros(packs), days, seed=4, draws=3000, sharing=sharing
        )[:, 0, 0]
        for sharing in (ALONE, Sharing(), TOGETHER)
    ]
    spreads = [one.std() for one in drawn]
    assert spreads[0] < spreads[1] < spreads[2]
    mean = chance_by(known, days).sum()
    for one in drawn:
        assert one.mean() == pytest.approx(mean, abs=4 * one.std() / np.sqrt(3000))


def test_what_is_past_is_due_now_and_what_is_never_forecast_is_not_due() -> None:
    past = np.array([TODAY, TODAY - 40, np.nan])
    known = Forecasts(past, past, past, np.full(3, float(TODAY)))
    assert list(settled(known, TODAY, TODAY + 4000)) == [-1, -1, 1]
    assert chance_by(known, [TODAY])[:, 0] == pytest.approx([1, 1, 0])
    drawn = counts_by(known, zeros(3), np.arange(3), [TODAY, TODAY + 3000], seed=1)
    assert np.all(drawn == np.array([[1, 1], [1, 1], [0, 0]]))


def test_a_known_day_counts_from_that_day_on() -> None:
    known = forecasts((30, 30, 30))
    days = [TODAY + 29, TODAY + 30]
    drawn = counts_by(known, zeros(1), zeros(1), days, seed=1, draws=50)
    assert np.all(drawn[:, 0] == [0, 1])


def test_a_forecast_from_an_older_reading_is_counted_from_that_reading() -> None:
    # 100 days ago the middle was 60 days ahead: by now it has more likely passed.
    old = forecasts((30, 60, 200), since=TODAY - 100)
    assert chance_by(old, [TODAY - 40, TODAY])[0] == pytest.approx(
        [0.5, 0.71], abs=0.02
    )


def test_the_same_seed_gives_the_same_totals_and_another_one_others() -> None:
    known, days = spread_out(80), [TODAY + 90, TODAY + 180]
    one, again, other = (
        counts_by(known, zeros(80), zeros(80), days, seed=seed, draws=200)
        for seed in (7, 7, 8)
    )
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


def test_no_packs_make_empty_totals() -> None:
    none = Forecasts(*(np.empty(0) for _ in range(4)))
    found = counts_by(none, zeros(0), zeros(0), [TODAY, TODAY + 30], seed=1, draws=10)
    assert found.shape == (10, 0, 2)
    assert draws_for(0) >= draws_for(10**6) > 0
