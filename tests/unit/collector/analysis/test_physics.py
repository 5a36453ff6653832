"""A wear trajectory from a physics-based ageing simulation.

Recipe: PyBaMM 26.10.1.1 from the package registry; single-particle model with the options
SEI "solvent-diffusion limited", SEI porosity change, lithium plating "irreversible" and
its porosity change; parameter set OKane2022 (S. O'Kane et al., Physical Chemistry Chemical
Physics 24 (2022) 7909, doi 10.1039/D2CP00417H) with the SEI solvent diffusivity and SEI
kinetic rate constant times 10 and the plating kinetic rate constant times 0.02. Each
cycle: discharge at 1C to 2.5 V, charge at C/2 to 4.2 V, hold until C/20. The numbers are
the discharge capacities of cycles 1, 21, 41, ...
"""

import numpy as np
import pytest

from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import Thresholds
from fadewatch_collector.analysis.series import Histories
from tests.unit.collector.analysis.made import FIRST_DAY, noise

CYCLES_A_ROW = 20
CAPACITY_AH = np.array(
    [
        4.9337,
        4.8481,
        4.7942,
        4.7439,
        4.6947,
        4.6485,
        4.6016,
        4.5543,
        4.5067,
        4.4625,
        4.4235,
        4.3755,
        4.3352,
        4.2913,
        4.2517,
        4.2085,
        4.1737,
        4.1333,
        4.0922,
        4.0527,
        4.0065,
        3.9676,
        3.927,
        3.8905,
        3.8503,
        3.8107,
        3.7724,
        3.7353,
        3.7043,
        3.6667,
        3.6373,
        3.6036,
        3.5647,
        3.5433,
        3.5043,
        3.4863,
        3.442,
        3.4269,
        3.3954,
        3.3667,
        3.3519,
    ]
)
"""Discharge capacity [Ah]."""


def history(spread: float) -> tuple[Histories, np.ndarray]:
    """Make one cycle a day, with a gauge's noise; and the true wear of each day."""
    rows = CYCLES_A_ROW * np.arange(CAPACITY_AH.size)
    days = np.arange(rows[-1] + 1)
    health = np.interp(days, rows, CAPACITY_AH / CAPACITY_AH[0])
    known = Histories.from_rows(
        ["simulated"],
        pack=np.zeros(days.size, dtype=int),
        day=FIRST_DAY + days,
        full=50_000 * (health + noise(days.size, spread)),
        design=np.full(days.size, 50_000.0),
    )
    return known, 1.0 - health


@pytest.mark.parametrize("spread", [0.0, 0.005, 0.01])
@pytest.mark.parametrize(("threshold", "within"), [(0.2, 0.15), (0.3, 0.25)])
def test_the_crossing_of_a_physics_based_trajectory_is_forecast(
    threshold: float, within: float, spread: float
) -> None:
    known, wear = history(spread)
    true = int(np.argmax(wear >= threshold))
    as_of = FIRST_DAY + round(0.6 * true)
    plan = assess(known, as_of, Thresholds(threshold, 0.6)).plan
    assert plan.on[0] - FIRST_DAY == pytest.approx(true, rel=within)
    assert plan.earliest[0] - FIRST_DAY <= true <= plan.latest[0] - FIRST_DAY


def test_wear_and_fade_follow_a_physics_based_trajectory() -> None:
    known, wear = history(0.005)
    for day in (200, 400, 600):
        found = assess(known, FIRST_DAY + day)
        rate = (wear[day] - wear[day - 100]) / 100
        assert found.wear[0] == pytest.approx(wear[day], abs=0.006)
        # The fade is that of more than the last 100 days, and this one slows down.
        assert found.fade.estimate[0] == pytest.approx(rate, rel=0.2)
        assert np.isnan(found.drop.on[0])
