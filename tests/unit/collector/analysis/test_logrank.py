"""The log-rank test equals statsmodels' (with entries) and lifelines' (without)."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from lifelines.datasets import load_leukemia
from lifelines.statistics import logrank_test
from statsmodels.duration.survfunc import survdiff

from fadewatch_collector.analysis.logrank import log_rank
from fadewatch_collector.analysis.survival import Lives

CLOSE = 1e-9


def test_the_textbook_statistic_of_the_remissions() -> None:
    # Freireich et al. (1963) as shipped with lifelines; Kleinbaum and Klein, Survival
    # Analysis, 3rd edition, section 2.IV: 16.793, with 9 and 21 events seen where 19.25
    # and 10.75 were expected.
    table = load_leukemia()
    lives = Lives(
        np.zeros(len(table)),
        table["t"].to_numpy(dtype=float),
        table["status"].to_numpy(dtype=bool),
    )
    treated = (table["Rx"] == 0).to_numpy()

    found = log_rank(lives, treated)

    theirs = logrank_test(
        lives.exit[treated],
        lives.exit[~treated],
        lives.event[treated],
        lives.event[~treated],
    )
    assert found.observed == 9
    assert found.expected == pytest.approx(19.25, abs=0.005)
    assert found.chi_square == pytest.approx(16.793, abs=0.0005)
    assert found.chi_square == pytest.approx(theirs.test_statistic, abs=CLOSE)
    assert found.p_value == pytest.approx(theirs.p_value, abs=CLOSE)


@given(st.integers(0, 2**32 - 1), st.integers(4, 60), st.booleans())
def test_late_entries_and_ties_agree_with_statsmodels(
    seed: int, count: int, whole: bool
) -> None:
    rng = np.random.default_rng(seed)
    entry = rng.uniform(0, 10, count)
    leaves = entry + rng.uniform(1, 12, count)
    if whole:
        entry, leaves = np.floor(entry), np.floor(leaves) + 1
    lives = Lives(entry, leaves, rng.random(count) < 0.5)
    first = rng.random(count) < 0.4
    assume(first.any() and not first.all() and lives.event.any())
    ours = log_rank(lives, first)
    # Groups that are never at risk together say nothing: theirs divides by 0.
    assume(ours.variance > 0)

    chi_square, p_value = survdiff(leaves, lives.event.astype(int), first, entry=entry)

    assert ours.chi_square == pytest.approx(float(chi_square), abs=CLOSE, rel=CLOSE)
    assert ours.p_value == pytest.approx(float(p_value), abs=CLOSE)


def test_without_any_event_nothing_can_be_told() -> None:
    lives = Lives(np.zeros(4), np.arange(1.0, 5.0), np.zeros(4, dtype=bool))

    found = log_rank(lives, np.array([True, True, False, False]))

    assert (found.observed, found.expected, found.p_value) == (0, 0.0, 1.0)
