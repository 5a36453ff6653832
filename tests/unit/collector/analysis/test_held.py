"""How forecasts held, counted by hand."""

import numpy as np
import pytest

from fadewatch_collector.analysis.held import (
    LEADS,
    MiddleError,
    Outcomes,
    Tally,
    by_lead,
    median_error,
)

TODAY = 1000.0
NEVER = np.nan


def outcomes(*told: tuple[float, float, float, float, float, float]) -> Outcomes:
    """Take as_of, earliest, on, latest, passed and watched_until of each."""
    columns = np.array(told, dtype=float).T
    return Outcomes(np.arange(len(told)), *columns)


def tally(*told: tuple[float, float, float, float, float, float]) -> Tally:
    made = Tally()
    made.add(outcomes(*told), TODAY)
    return made


ENDED = (
    (500, 600, 700, 800, 590, 1000),  # crossed before the earliest day
    (500, 600, 700, 800, 600, 1000),  # on it: within
    (500, 600, 700, 800, 800, 1000),  # on the latest: within
    (500, 600, 700, 800, 801, 1000),  # after it
    (500, 600, 700, 800, NEVER, 1000),  # not even yet
)


def test_forecasts_whose_latest_day_has_come_are_counted_by_what_came() -> None:
    found = tally(*ENDED)

    assert (found.before, found.within, found.after, found.waiting) == (1, 2, 1, 1)
    assert (found.earliest.due, found.earliest.crossed) == (5, 2)
    assert (found.middle.due, found.middle.crossed) == (5, 2)
    assert (found.latest.due, found.latest.crossed) == (5, 3)
    assert (found.forecasts, found.open, found.pack_count) == (5, 0, 5)


def test_a_crossing_that_came_early_does_not_count_before_its_latest_day() -> None:
    """Else forecasts that were too late would be told well before too early ones."""
    found = tally(
        (900, 950, 1100, 1300, 960, 1000), (900, 950, 1100, 1300, NEVER, 1000)
    )

    assert (found.latest.due, found.before + found.within) == (0, 0)
    assert (found.earliest.due, found.earliest.crossed) == (2, 0)
    assert found.open == 1


def test_a_pack_out_of_sight_before_its_day_is_lost_and_not_a_miss() -> None:
    found = tally((500, 600, 700, 800, NEVER, 650))

    assert (found.earliest.due, found.earliest.lost) == (1, 0)
    assert (found.middle.due, found.middle.lost) == (0, 1)
    assert (found.latest.due, found.latest.lost) == (0, 1)
    assert found.waiting == 0


def test_a_forecast_beyond_ten_years_is_never_due() -> None:
    inf = np.inf
    found = tally((500, inf, inf, inf, NEVER, 1000), (500, inf, inf, inf, 700, 1000))

    assert found.earliest.due == found.latest.due == 0
    assert found.forecasts == 2


def test_the_median_error_takes_what_has_not_come_for_later() -> None:
    # Errors by hand: -110, -100, 100, 101 and at least 300 days.
    assert median_error(tally(*ENDED)) == MiddleError(100.0, at_least=False)
    relative = median_error(tally(*ENDED), relative=True)
    assert relative is not None
    assert relative.value == pytest.approx(0.5)
    waiting = tally(ENDED[0], ENDED[4], ENDED[4])
    assert median_error(waiting) == MiddleError(300.0, at_least=True)
    assert median_error(Tally()) is None


def test_each_forecast_is_counted_in_its_class_of_lead_time() -> None:
    classes = [Tally() for _ in range(len(LEADS) + 1)]
    found = outcomes(
        *(
            (0, lead - 1, lead, lead + 1, NEVER, 1000)
            for lead in (90, 91, 182, 365, 900)
        )
    )

    by_lead(found, classes, TODAY)

    assert [one.forecasts for one in classes] == [1, 2, 0, 2]
