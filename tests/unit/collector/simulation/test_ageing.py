from dataclasses import replace

import numpy as np
import pytest

from fadewatch_collector.simulation.ageing import (
    Ageing,
    draw_ageing,
    first_age_at,
    health_at,
)

PACKS = 300


@pytest.fixture(scope="module")
def ageing() -> Ageing:
    rng = np.random.default_rng(11)
    return draw_ageing(rng, np.full(PACKS, 0.08), np.full(PACKS, 0.5), 365)


def every_day(days: int) -> np.ndarray:
    return np.broadcast_to(np.arange(days, dtype=float), (PACKS, days))


def test_capacity_never_rises_with_age(ageing: Ageing) -> None:
    assert (np.diff(health_at(ageing, every_day(2000)), axis=1) <= 1e-9).all()


def test_a_pack_not_yet_made_counts_as_new(ageing: Ageing) -> None:
    assert health_at(ageing, np.full((PACKS, 1), -40.0))[:, 0] == pytest.approx(
        ageing.fresh
    )


def test_the_first_day_at_a_level_is_the_first(ageing: Ageing) -> None:
    level = np.full(PACKS, 0.8)
    age = first_age_at(ageing, level)
    reached = np.isfinite(age) & (age >= 1)
    assert reached.sum() > PACKS / 2
    there = health_at(ageing, age[:, None])[reached, 0]
    day_before = health_at(ageing, age[:, None] - 1)[reached, 0]
    assert (there <= 0.8).all()
    assert (day_before > 0.8).all()


def test_a_level_below_the_floor_is_never_reached(ageing: Ageing) -> None:
    assert np.isinf(first_age_at(ageing, np.full(PACKS, 0.01))).all()


def test_fade_is_three_to_eight_times_faster_after_the_knee(ageing: Ageing) -> None:
    bent = np.isfinite(ageing.knee_age) & (ageing.knee_age < 3000)
    assert bent.sum() > PACKS / 4
    assert (ageing.knee_factor[bent] >= 3).all()
    assert (ageing.knee_factor[bent] <= 8).all()
    knee = ageing.knee_age[bent]
    some = Ageing(
        *(getattr(ageing, name)[bent] for name in Ageing.__dataclass_fields__)
    )
    lost = {
        offset: health_at(some, (knee + offset)[:, None])[:, 0]
        for offset in (-240, -60, 60, 240)
    }
    before, after = lost[-240] - lost[-60], lost[60] - lost[240]
    ratio = np.median(after / np.maximum(before, 1e-4))
    assert 2.5 < ratio < 9


def test_a_drop_stays(ageing: Ageing) -> None:
    dropped = replace(
        ageing,
        drop_age=np.full(PACKS, 500.0),
        drop_size=np.full(PACKS, 0.15),
        drop_days=np.full(PACKS, 3.0),
    )
    days = every_day(700)
    lost = health_at(ageing, days) - health_at(dropped, days)
    above_floor = health_at(dropped, days)[:, -1] > 0.06
    assert lost[:, 499] == pytest.approx(0.0)
    assert lost[above_floor, 502] == pytest.approx(0.15, abs=1e-6)
    assert lost[above_floor, 699] == pytest.approx(0.15, abs=1e-6)


def test_fade_is_faster_after_a_drop_when_the_pack_says_so(ageing: Ageing) -> None:
    dropped = replace(
        ageing,
        drop_age=np.full(PACKS, 300.0),
        drop_size=np.full(PACKS, 0.1),
        drop_after=np.full(PACKS, 2.0),
    )
    days = every_day(401)
    usual, faster = health_at(ageing, days), health_at(dropped, days)
    above_floor = faster[:, -1] > 0.06
    lost_after = (usual[:, 300] - usual[:, 400])[above_floor]
    assert (faster[:, 300] - faster[:, 400])[above_floor] == pytest.approx(
        2 * lost_after, abs=1e-6
    )
