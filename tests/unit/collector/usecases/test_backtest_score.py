from math import inf, nan

import numpy as np
import pytest

from fadewatch_collector.analysis.figures import (
    Assessments,
    Crossing,
    Drops,
    Knees,
    Spread,
)
from fadewatch_collector.usecases.backtest import Step
from fadewatch_collector.usecases.backtest_score import Score, Scorer

Forecast = tuple[float, float, float]
NEVER: Forecast = (nan, nan, nan)


def step(
    as_of: int,
    *,
    plan: Forecast = NEVER,
    drop: float = nan,
    confirmed: bool = True,
    first: int = 0,
    pack: int = 0,
) -> Step:
    """What is said of one pack on one day."""

    def one(value: float) -> np.ndarray:
        return np.array([value])

    spread = Spread(one(nan), one(nan), one(nan))
    figures = Assessments(
        pack_ids=(f"pack {pack}",),
        as_of=np.array([as_of], dtype=np.int32),
        readings=np.array([as_of - first + 1]),
        first_day=np.array([first], dtype=np.int32),
        last_day=np.array([as_of], dtype=np.int32),
        wear=one(0.1),
        band=np.array([1], dtype=np.int8),
        fade=spread,
        fade_per_cycle=spread,
        fade_source=np.array([0], dtype=np.int8),
        own_fade=one(nan),
        plan=Crossing(*map(one, plan)),
        replace=Crossing(*map(one, NEVER)),
        common_on=one(nan),
        drop=Drops(one(drop), one(0.1), np.array([confirmed]), one(0.1)),
        knee=Knees(one(nan), one(nan), one(nan)),
        gauge=np.array([0], dtype=np.int8),
        gauge_since=one(nan),
        noise=one(0.01),
        cycles=one(nan),
    )
    return Step(as_of, np.array([pack]), figures)


def score(*steps: Step, last: int = 10_000, packs: int = 1) -> Score:
    scorer = Scorer(np.full(packs, last, dtype=np.int32), step_days=7)
    for one in steps:
        scorer.add(one)
    return scorer.score()


def drops(*said: float) -> Score:
    """One drop told, or none, on each of successive weeks from day 100."""
    return score(*(step(100 + 7 * week, drop=on) for week, on in enumerate(said)))


def test_a_drop_that_stands_is_borne_out_and_its_delay_told() -> None:
    alarms = drops(nan, 104, 103, 103).alarms
    assert (alarms.borne_out, alarms.withdrawn) == (1, 0)
    # First told on day 107, of a drop now known to be of day 103.
    assert alarms.delays == (4,)
    assert alarms.median_delay == 4
    assert alarms.in_time == 1.0


def test_a_drop_that_is_told_no_more_was_withdrawn() -> None:
    alarms = drops(nan, 104, 104, nan, nan).alarms
    assert (alarms.borne_out, alarms.withdrawn) == (0, 1)
    assert alarms.median_delay is None
    assert alarms.in_time is None


def test_a_newer_drop_does_not_withdraw_the_older() -> None:
    alarms = drops(100, 100, 100, 100, 100, 100, 135, 135).alarms
    assert (alarms.borne_out, alarms.withdrawn) == (2, 0)


def test_going_back_to_an_older_drop_withdraws_the_newer() -> None:
    alarms = drops(100, 100, 100, 100, 100, 100, 135, 100).alarms
    assert (alarms.borne_out, alarms.withdrawn) == (1, 1)


def test_a_suspicion_is_no_alarm() -> None:
    alarms = score(step(100, drop=98, confirmed=False), step(107)).alarms
    assert (alarms.borne_out, alarms.withdrawn) == (0, 0)


def test_delays_past_two_weeks_are_late() -> None:
    steps = [step(100, drop=98, pack=0), step(130, drop=110, pack=1)]
    alarms = score(*steps, packs=2).alarms
    assert alarms.delays == (2, 20)
    assert alarms.in_time == 0.5


def test_pack_years_are_those_of_the_lines() -> None:
    result = score(*(step(7 * week) for week in range(1, 54)))
    assert result.lines == 53
    assert result.pack_years == pytest.approx(53 * 7 / 365.25)


def test_what_is_said_after_the_history_does_not_count() -> None:
    result = score(step(100), step(900, drop=899), last=500)
    assert result.lines == 1
    assert result.alarms.borne_out == 0


def test_a_forecast_is_judged_by_the_time_that_was_left() -> None:
    # First reading on day 0, crossing on day 100: asked on day 60, 40 days are left.
    said = [
        step(60, plan=(120, 80, 130)),
        step(75, plan=(95, 90, 98)),
        step(101, plan=(100, 100, 100)),
    ]
    asked = {one.way: one for one in score(*said).plan.asked}
    assert set(asked) == {0.60, 0.75, 0.90}
    assert asked[0.60].median_error == pytest.approx(20 / 40)
    assert (asked[0.60].late, asked[0.60].inside) == (1.0, 1.0)
    assert asked[0.75].median_error == pytest.approx(5 / 25)
    assert (asked[0.75].late, asked[0.75].inside) == (0.0, 0.0)
    # On day 90 what was said on day 75 still stands.
    assert asked[0.90].median_error == pytest.approx(5 / 25)


def test_a_forecast_without_a_crossing_is_endlessly_late() -> None:
    said = [step(60, plan=NEVER), step(101, plan=(100, 100, 100))]
    asked = {one.way: one for one in score(*said).plan.asked}
    assert asked[0.60].median_error == inf
    assert (asked[0.60].late, asked[0.60].inside) == (1.0, 0.0)


def test_an_interval_without_an_end_holds_every_later_day() -> None:
    said = [step(60, plan=(nan, 80, nan)), step(101, plan=(100, 100, 100))]
    (asked,) = [one for one in score(*said).plan.asked if one.way == 0.60]
    assert asked.inside == 1.0


def test_a_pack_already_past_when_first_seen_is_no_forecast() -> None:
    forecasts = score(step(10, plan=(0, 0, 0)), step(90, plan=(0, 0, 0))).plan
    assert forecasts.crossed == 0
    assert forecasts.asked == ()


def test_intervals_that_ran_out_count_packs_that_never_crossed_too() -> None:
    crossed = [
        step(10, plan=(60, 40, 80), pack=0),
        step(30, plan=(120, 110, 130), pack=0),
        step(50, plan=(80, 70, 90), pack=0),
        step(140, plan=(100, 100, 100), pack=0),
    ]
    sound = [
        step(20, plan=(60, 50, 70), pack=1),
        step(140, plan=(300, 200, 400), pack=1),
    ]
    closed = score(*crossed, *sound, last=150, packs=2).plan.closed
    assert closed is not None
    assert closed.intervals == 4
    assert (closed.before, closed.inside, closed.after) == (0.25, 0.0, 0.75)


def test_nothing_said_gives_an_empty_score() -> None:
    result = score()
    assert (result.packs, result.lines, result.pack_years) == (0, 0, 0.0)
    assert result.plan.asked == ()
    assert result.plan.closed is None
