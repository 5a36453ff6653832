"""Habits of many packs at once are those of each for itself."""

from datetime import date, timedelta
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.rules.charging import (
    COUNTS,
    MEASURES,
    ChargingDays,
    habit_of,
    habits_of,
)
from fadewatch_collector.rules.charging_day import ChargingDay

TODAY = date(2026, 3, 31)


@st.composite
def days(draw: st.DrawFn) -> list[ChargingDay]:
    """Draw a pack's days, oldest first, some of them outside the spans."""
    found = []
    for ago in sorted(draw(st.sets(st.integers(-1, 100), max_size=40)), reverse=True):
        judged = draw(st.integers(0, 4))
        near_full = draw(st.integers(0, judged))
        found.append(
            ChargingDay(
                day=TODAY - timedelta(days=ago),
                readings=4,
                judged=judged,
                on_mains=judged,
                near_full=near_full,
                held=judged - near_full,
                temperature_c=draw(st.none() | st.floats(10, 50)),
                near_full_temperature_c=draw(st.none() | st.floats(10, 50)),
                lowest_charge=draw(st.none() | st.floats(0, 1.1)),
                charge_limit_percent=draw(st.sampled_from([None, 80, 100])),
            )
        )
    return found


@given(st.lists(days(), min_size=1, max_size=5))
def test_habits_told_together_are_those_told_one_by_one(
    packs: list[list[ChargingDay]],
) -> None:
    flat = [(place, day) for place, known in enumerate(packs) for day in known]
    columns: dict[str, Any] = {
        name: np.array([getattr(day, name) for _, day in flat], dtype=kind)
        for names, kind in ((COUNTS, np.int64), (MEASURES, np.float64))
        for name in names
    }
    together = habits_of(
        ChargingDays(
            pack=np.array([place for place, _ in flat], dtype=np.int64),
            day=np.array([day.day.toordinal() for _, day in flat], dtype=np.int64),
            **columns,
        ),
        len(packs),
        TODAY,
    )

    assert together == [habit_of(known, TODAY) for known in packs]
