"""Published measurements, where the open data folder is at hand."""

from pathlib import Path

import numpy as np
import pytest

from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import Thresholds
from tests.open_data import (
    FILES,
    FIRST_DAY,
    Cell,
    cells,
    folder,
    forecast_part_way,
    histories,
)


@pytest.fixture(scope="module")
def open_data() -> Path:
    found = folder()
    if found is None:
        pytest.skip("no folder of open ageing data (FADEWATCH_OPEN_DATA)")
    return found


@pytest.fixture(scope="module")
def nasa(open_data: Path) -> dict[str, Cell]:
    return {c.name: c for c in cells(open_data / FILES["NASA"])}


# Saha and Goebel, "Battery Data Set", NASA Ames PCoE, 2007: 168 discharges for B0005,
# first below 1.4 Ah (30 % of 2 Ah) at discharge 125; B0006 109; B0018 97; B0007 never.
PUBLISHED = {"B0005": 125, "B0006": 109, "B0018": 97, "B0007": None}


@pytest.mark.parametrize(("name", "discharge"), PUBLISHED.items())
def test_first_discharge_below_30_percent_is_the_published_one(
    nasa: dict[str, Cell], name: str, discharge: int | None
) -> None:
    below = np.flatnonzero(nasa[name].wear > 0.3)
    assert (int(below[0]) + 1 if below.size else None) == discharge


def test_b0005_has_168_discharges(nasa: dict[str, Cell]) -> None:
    assert nasa["B0005"].cycle.size == 168


@pytest.mark.parametrize(("name", "discharge"), PUBLISHED.items())
def test_the_assessment_dates_the_crossing_near_the_published_discharge(
    nasa: dict[str, Cell], name: str, discharge: int | None
) -> None:
    found = assess(histories([nasa[name]], 1.0, 0.0), FIRST_DAY + 400)
    if discharge is None:
        assert found.wear[0] < 0.3
    else:
        # Capacity comes back after rests, so wear crosses more than once.
        assert found.plan.on[0] - FIRST_DAY == pytest.approx(discharge, abs=15)


@pytest.mark.parametrize("name", FILES)
def test_laboratory_cells_raise_no_sudden_drop_while_they_age(
    open_data: Path, name: str
) -> None:
    packs = histories(cells(open_data / FILES[name]), 1.0, 0.0)
    length = int(packs.day.max()) - FIRST_DAY
    alarms = set()
    for day in np.linspace(40, length, 12).astype(int):
        found = assess(packs, FIRST_DAY + int(day), Thresholds(0.3, 0.6))
        sound = (found.wear < 0.3) & found.drop.confirmed
        alarms |= set(np.flatnonzero(sound).tolist())
    assert len(alarms) <= 0.05 * len(packs) + 1


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_nothing_in_the_open_data_breaks_an_assessment(
    open_data: Path, name: str, noise: float
) -> None:
    packs = histories(cells(open_data / FILES[name]), 1.0, noise)
    found = assess(packs, int(packs.day.max()))
    assert not np.isnan(found.wear).any()


def test_nasas_other_cells_with_their_junk_are_survived(open_data: Path) -> None:
    packs = histories(cells(open_data / "nasa_pcoe_34cells.csv"), 1.0, 0.0)
    found = assess(packs, int(packs.day.max()))
    assert np.array_equal(np.isnan(found.wear), found.readings == 0)


@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_a_fifth_of_wear_is_forecast_within_an_eighth_of_the_way(
    open_data: Path, noise: float
) -> None:
    outcomes = [
        forecast_part_way(cells(open_data / f), 0.2, 0.6, 1.0, noise)
        for f in FILES.values()
    ]
    error = np.abs(np.concatenate([o.error for o in outcomes]))
    inside = np.concatenate([o.inside for o in outcomes])
    assert np.median(error) <= 0.125
    assert 0.75 <= inside.mean() <= 0.92


@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_knees_are_foreseen_on_cells_that_cross_30_percent(
    open_data: Path, noise: float
) -> None:
    outcomes = [
        forecast_part_way(cells(open_data / FILES[f]), 0.3, part, 1.0, noise)
        for f in ("CALCE CS2", "NASA")
        for part in (0.55, 0.6, 0.65)
    ]
    error = np.abs(np.concatenate([o.error for o in outcomes]))
    inside = np.concatenate([o.inside for o in outcomes])
    assert np.median(error) <= 0.25
    assert inside.mean() >= 0.7
