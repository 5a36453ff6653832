import numpy as np
import pytest

from fadewatch_collector.simulation.fleet import Mix
from fadewatch_collector.simulation.gauge import Gauges, draw_gauges, learn

DAYS = 60


def gauges(**changed: object) -> Gauges:
    """One pack's gauge: learns on chance days only, exactly, without bounds."""
    usual: dict[str, object] = {
        "chance": np.array([0.0]),
        "noise": np.array([0.0]),
        "down": np.array([np.inf]),
        "up": np.array([np.inf]),
        "stale": np.array([False]),
        "limited": np.array([False]),
        "frozen": np.array([False]),
    }
    return Gauges(**(usual | changed))  # type: ignore[arg-type]  # mixed values by name


def held(one: Gauges, health: np.ndarray, *learnt_on: int) -> np.ndarray:
    must = np.zeros((1, DAYS), dtype=bool)
    must[0, list(learnt_on)] = True
    start = np.array([1.0])
    level = learn(np.random.default_rng(1), one, health[None, :], start, must)
    return level.ravel()


def test_a_gauge_holds_its_level_until_it_learns_the_truth() -> None:
    level = held(gauges(), np.linspace(0.9, 0.8, DAYS), 30)
    assert (level[:30] == 1.0).all()
    assert level[30:] == pytest.approx(np.linspace(0.9, 0.8, DAYS)[30])


def test_a_bounded_gauge_falls_as_a_run_of_small_steps() -> None:
    one = gauges(down=np.array([0.05]), up=np.array([0.1]))
    level = held(one, np.full(DAYS, 0.87), 10)
    assert level[9:14] == pytest.approx([1.0, 0.95, 0.9, 0.87, 0.87])


def test_a_bounded_gauge_climbs_faster_than_it_falls() -> None:
    one = gauges(down=np.array([0.05]), up=np.array([0.1]))
    health = np.where(np.arange(DAYS) < 30, 0.87, 1.0)
    level = held(one, health, 10, 40)
    assert level[39:42] == pytest.approx([0.87, 0.97, 1.0])


def test_a_gauge_that_is_far_off_learns_within_weeks() -> None:
    level = held(gauges(), np.full(DAYS, 0.7))
    assert level[0] == 1.0
    assert level[-1] == pytest.approx(0.7)


def test_a_frozen_gauge_never_learns() -> None:
    level = held(gauges(frozen=np.array([True])), np.full(DAYS, 0.5), *range(DAYS))
    assert (level == 1.0).all()


def test_noise_from_day_to_day_is_near_the_one_asked_for() -> None:
    packs, days = 200, 400
    every = Gauges(
        chance=np.ones(packs),
        noise=np.full(packs, 0.01),
        down=np.full(packs, np.inf),
        up=np.full(packs, np.inf),
        stale=np.zeros(packs, dtype=bool),
        limited=np.zeros(packs, dtype=bool),
        frozen=np.zeros(packs, dtype=bool),
    )
    health = np.full((packs, days), 0.9)
    level = learn(np.random.default_rng(3), every, health, health[:, 0], health > 1)
    assert np.diff(level, axis=1).std() == pytest.approx(0.01, rel=0.1)


def test_shares_of_gauges_follow_the_mix() -> None:
    mix = Mix(stale=0.3, occasional=0.3, limited=0.5, frozen=0.1)
    packs = 4000
    step = np.full(packs, 0.05)
    drawn = draw_gauges(np.random.default_rng(5), mix, step, 2 * step)
    assert drawn.stale.mean() == pytest.approx(0.3, abs=0.03)
    assert drawn.limited.mean() == pytest.approx(0.5, abs=0.03)
    assert drawn.frozen.mean() == pytest.approx(0.1, abs=0.03)
    # Months between two learnings.
    assert (1 / drawn.chance[drawn.stale]).min() >= 60
    assert np.isinf(drawn.down[~drawn.limited]).all()
