import pytest

from fadewatch_collector.analysis.arrays import FloatArray
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import FADE_SOURCES
from fadewatch_collector.analysis.priors import (
    PUBLISHED_FADE,
    fleet_priors,
    published_priors,
)
from tests.unit.collector.analysis.made import FIRST_DAY, histories, noise, straight

OLD, YOUNG = 300, 6


def fleet(*fades: float) -> list[FloatArray]:
    return [
        straight(OLD, fade, 0.98) + noise(OLD, 0.005, seed)
        for seed, fade in enumerate(fades)
    ]


def young() -> FloatArray:
    return straight(YOUNG, 0.0) + noise(YOUNG, 0.005, 99)


def sources(rows: list[FloatArray], types: list[str]) -> list[str]:
    known = histories(*rows)
    first = assess(known, FIRST_DAY + OLD)
    priors = fleet_priors(first, types)
    second = assess(known, FIRST_DAY + OLD, priors=priors)
    return [FADE_SOURCES[code] for code in second.fade_source]


def test_a_young_pack_borrows_from_its_own_type_first() -> None:
    rows = [*fleet(*[0.02] * 6, *[0.004] * 6), young()]
    types = ["fast"] * 6 + ["slow"] * 6 + ["slow"]
    assert sources(rows, types)[-1] == "own pack type"


def test_without_packs_of_its_type_it_borrows_from_the_fleet() -> None:
    rows = [*fleet(*[0.02] * 6, *[0.004] * 6), young()]
    assert sources(rows, [*["fast"] * 6, *["slow"] * 6, "rare"])[-1] == "fleet"


def test_without_a_fleet_it_borrows_from_publications() -> None:
    assert sources([*fleet(0.01, 0.01), young()], ["a"] * 3)[-1] == "published figures"


def test_a_pack_with_a_history_speaks_for_itself() -> None:
    assert set(sources(fleet(*[0.01] * 12), ["a"] * 12)) == {"own history"}


def test_what_is_borrowed_is_the_median_of_the_lenders() -> None:
    rows = fleet(*[0.01] * 5, *[0.03] * 6)
    known = assess(histories(*rows), FIRST_DAY + OLD)
    priors = fleet_priors(known, ["a"] * 5 + ["b"] * 6)
    assert 30.4375 * priors.fade[0] == pytest.approx(0.01, rel=0.1)
    assert 30.4375 * priors.fade[-1] == pytest.approx(0.03, rel=0.1)


def test_a_borrowed_rate_moves_the_forecast() -> None:
    known = histories(young())
    slow, fast = published_priors(1), published_priors(1)
    slow.fade[:], fast.fade[:] = PUBLISHED_FADE / 2, PUBLISHED_FADE * 2
    late = assess(known, FIRST_DAY + YOUNG, priors=slow)
    soon = assess(known, FIRST_DAY + YOUNG, priors=fast)
    assert soon.fade.estimate[0] > late.fade.estimate[0]
    assert not late.plan.on[0] < soon.plan.on[0]
