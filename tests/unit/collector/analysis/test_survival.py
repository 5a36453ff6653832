"""The survival curve equals those of statsmodels and lifelines.

statsmodels' rule is ours: not at risk on or before the entry time. lifelines counts a
pack as at risk at its entry time already, so it is asked only where no event falls on an
entry.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_leukemia
from lifelines.utils import median_survival_times
from numpy.testing import assert_allclose
from statsmodels.duration.survfunc import SurvfuncRight

from fadewatch_collector.analysis.survival import (
    Lives,
    median_time,
    survival_at,
    survival_curve,
    well_watched_since,
)

CLOSE = 1e-9


def lives_of(*stretches: tuple[float, float, bool]) -> Lives:
    entry, leaves, event = zip(*stretches, strict=True)
    return Lives(
        np.array(entry, dtype=float),
        np.array(leaves, dtype=float),
        np.array(event, dtype=bool),
    )


@st.composite
def drawn_lives(draw: st.DrawFn) -> Lives:
    """Few different times: ties of events, of ends and of entries."""
    count = draw(st.integers(1, 40))
    whole = st.lists(st.integers(0, 12), min_size=count, max_size=count)
    entry = np.array(draw(whole), dtype=float)
    length = 1.0 + np.array(draw(whole), dtype=float)
    event = np.array(
        draw(st.lists(st.booleans(), min_size=count, max_size=count)), dtype=bool
    )
    return Lives(entry, entry + length, event)


# The 6-MP and placebo patients of Freireich et al., Blood 21 (1963) 699-716, as lifelines
# ships them: remission in weeks of 42 patients, a textbook example (Klein and Moeschberger,
# section 1.2; Kleinbaum and Klein, chapter 2).
@pytest.fixture(scope="module")
def remissions() -> dict[int, Lives]:
    table = load_leukemia()
    return {
        group: Lives(
            np.zeros(int((table["Rx"] == group).sum())),
            table.loc[table["Rx"] == group, "t"].to_numpy(dtype=float),
            table.loc[table["Rx"] == group, "status"].to_numpy(dtype=bool),
        )
        for group in (0, 1)
    }


def test_the_textbook_values_of_the_6_mp_patients(remissions: dict[int, Lives]) -> None:
    # Kleinbaum and Klein, Survival Analysis, 3rd edition (2012), table in section 2.II:
    # at 6, 7, 10, 13, 16, 22 and 23 weeks; the placebo group's median is 8 weeks.
    treated = survival_curve(remissions[0])

    assert treated.time.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert treated.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert_allclose(
        treated.survival,
        [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482],
        atol=5e-5,
    )
    assert median_time(treated).time == 23
    assert median_time(survival_curve(remissions[1])).time == 8


@pytest.mark.parametrize("group", [0, 1])
def test_the_limits_of_the_textbook_groups_are_those_of_lifelines(
    remissions: dict[int, Lives], group: int
) -> None:
    lives = remissions[group]
    ours = survival_curve(lives)
    theirs = KaplanMeierFitter().fit(lives.exit, lives.event)

    limits = theirs.confidence_interval_survival_function_.loc[ours.time].to_numpy()
    assert_allclose(
        theirs.survival_function_at_times(ours.time), ours.survival, atol=CLOSE
    )
    known = ours.survival > 0
    assert_allclose(limits[known, 0], ours.low[known], atol=CLOSE)
    assert_allclose(limits[known, 1], ours.high[known], atol=CLOSE)


@given(drawn_lives())
def test_curve_and_variance_are_those_of_statsmodels(lives: Lives) -> None:
    ours = survival_curve(lives)
    if not lives.event.any():
        assert ours.time.size == 0
        return
    theirs = SurvfuncRight(lives.exit, lives.event.astype(int), entry=lives.entry)

    assert_allclose(ours.time, theirs.surv_times)
    assert ours.at_risk.tolist() == theirs.n_risk.tolist()
    assert ours.events.tolist() == theirs.n_events.tolist()
    assert_allclose(ours.survival, theirs.surv_prob, atol=CLOSE)
    # After the curve has once reached 0 theirs is not a number, ours is 0.
    alive = ours.survival > 0
    assert_allclose(
        np.sqrt(ours.variance[alive]), theirs.surv_prob_se[alive], atol=CLOSE
    )


@pytest.mark.parametrize("seed", range(8))
def test_the_median_with_its_limits_is_that_of_lifelines(seed: int) -> None:
    rng = np.random.default_rng(seed)
    leaves = rng.exponential(500, 37) + 1
    event = rng.random(37) < 0.6
    ours = median_time(survival_curve(Lives(np.zeros(37), leaves, event)))
    theirs = KaplanMeierFitter().fit(leaves, event)
    limits = median_survival_times(theirs.confidence_interval_).to_numpy()[0]

    assert_allclose(ours.time, theirs.median_survival_time_)
    assert_allclose(np.nan_to_num(ours.low, nan=np.inf), limits[0])
    assert_allclose(np.nan_to_num(ours.high, nan=np.inf), limits[1])


def test_late_entries_agree_with_lifelines_where_no_event_falls_on_an_entry() -> None:
    rng = np.random.default_rng(20261125)
    entry = rng.uniform(0, 400, 300)
    leaves = entry + rng.uniform(1, 900, 300)
    lives = Lives(entry, leaves, rng.random(300) < 0.3)
    since = well_watched_since(lives, 5)
    ours = survival_curve(lives)
    theirs = KaplanMeierFitter().fit(leaves, lives.event, entry=entry)

    assert_allclose(
        theirs.survival_function_at_times(ours.time), ours.survival, atol=CLOSE
    )
    assert since < np.median(leaves)


def test_a_pack_seen_late_says_nothing_about_the_time_before() -> None:
    # By hand: at 5 only the first is at risk; at 8 the second and the third are.
    curve = survival_curve(
        lives_of((0, 5, True), (6, 8, True), (5, 9, False), (4, 6, False))
    )

    assert curve.at_risk.tolist() == [2, 2]
    assert curve.survival.tolist() == [0.5, 0.25]


def test_no_event_leaves_the_curve_at_one() -> None:
    curve = survival_curve(lives_of((0, 5, False), (1, 8, False)))
    median = median_time(curve)

    assert survival_at(curve, 7.0) == 1.0
    assert np.isnan([median.time, median.low, median.high]).all()


def test_all_at_once_takes_the_curve_to_zero_without_limits() -> None:
    curve = survival_curve(lives_of((0, 5, True), (1, 5, True)))

    assert curve.survival.tolist() == [0.0]
    assert curve.variance.tolist() == [0.0]
    assert np.isnan(curve.low).all()
    assert survival_at(curve, 4.9) == 1.0
    assert survival_at(curve, 5.0) == 0.0


def test_the_curve_begins_where_enough_packs_are_watched() -> None:
    early = ((0.0, 1.0, True), (0.5, 2.0, True))
    many = tuple((2.5, 5.0 + n, n % 2 == 0) for n in range(6))
    lives = lives_of(*early, *many)

    since = well_watched_since(lives, 5)

    assert since == 2.0
    assert survival_curve(lives).survival[1] == 0.0
    assert survival_curve(lives, since).time.tolist() == [5.0, 7.0, 9.0]
    assert survival_curve(lives, since).survival[0] == pytest.approx(5 / 6)


@pytest.mark.parametrize("stretch", [(3.0, 3.0), (-1.0, 3.0), (4.0, 3.0), (0, np.nan)])
def test_a_life_without_length_is_refused(stretch: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="enter"):
        lives_of((*stretch, False))
