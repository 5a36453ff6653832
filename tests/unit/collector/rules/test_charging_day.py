"""How a day's readings are counted, by hand."""

from dataclasses import dataclass, replace
from datetime import date

import pytest

from fadewatch_collector.rules.charging_day import (
    charge_of,
    charging_day,
    is_on_mains,
)

DAY = date(2026, 3, 1)


@dataclass(frozen=True)
class Reading:
    """What is looked at in one reading."""

    full_charge_capacity: int | None = 50_000
    remaining_capacity: int | None = 50_000
    state: str = "full"
    mains_online: bool | None = True
    charge_limit_percent: int | None = None
    temperature_c: float | None = None


FULL = Reading()


@pytest.mark.parametrize(
    ("mains", "state", "expected"),
    [
        (True, "full", True),
        (False, "full", False),
        (None, "full", True),
        (None, "held", True),
        (None, "discharging", False),
        (None, "unknown", None),
        (True, "unknown", True),
        (True, "discharging", True),
        # A pack cannot charge from nothing: its supply is shown nowhere.
        (False, "charging", True),
        (False, "held", True),
    ],
)
def test_mains_is_told_from_what_the_laptop_and_the_pack_say(
    mains: bool | None, state: str, expected: bool | None
) -> None:
    assert is_on_mains(mains, state) is expected


@pytest.mark.parametrize(
    ("remaining", "full", "charge"),
    [
        (40_000, 50_000, 0.8),
        (0, 50_000, 0.0),
        (51_000, 50_000, 1.02),
        (65_535, 50_000, None),
        (None, 50_000, None),
        (40_000, None, None),
        (40_000, 0, None),
        (-1, 50_000, None),
    ],
)
def test_a_charge_is_a_fraction_of_full_where_it_can_be_one(
    remaining: int | None, full: int | None, charge: float | None
) -> None:
    assert charge_of(remaining, full) == charge


def test_near_full_is_at_least_95_percent_on_mains_and_not_discharging() -> None:
    readings = [
        FULL,
        replace(FULL, remaining_capacity=47_500, state="held"),
        replace(FULL, remaining_capacity=47_499, state="held"),
        replace(FULL, state="discharging"),
        replace(FULL, state="discharging", mains_online=False),
        replace(FULL, remaining_capacity=20_000, state="charging"),
    ]

    day = charging_day(DAY, readings)

    assert (day.readings, day.judged, day.on_mains) == (6, 6, 5)
    assert (day.near_full, day.held) == (2, 1)
    assert day.lowest_charge == 0.4


def test_a_reading_without_charge_or_mains_is_no_reading_near_full() -> None:
    readings = [
        replace(FULL, remaining_capacity=None),
        replace(FULL, state="unknown", mains_online=None),
    ]

    day = charging_day(DAY, readings)

    assert (day.readings, day.judged, day.near_full) == (2, 0, 0)


def test_temperatures_are_medians_and_unknown_ones_are_left_out() -> None:
    away = replace(FULL, state="discharging", mains_online=False, temperature_c=20.0)
    readings = [
        replace(FULL, temperature_c=38.0),
        replace(FULL, temperature_c=41.0),
        replace(FULL, temperature_c=None),
        away,
    ]

    day = charging_day(DAY, readings)

    assert day.near_full_temperature_c == pytest.approx(39.5)
    assert day.temperature_c == pytest.approx(38.0)
    assert charging_day(DAY, [FULL]).temperature_c is None


def test_the_limit_of_a_day_is_the_one_reported_last() -> None:
    readings = [
        replace(FULL, charge_limit_percent=100),
        replace(FULL, charge_limit_percent=80),
        FULL,
    ]

    assert charging_day(DAY, readings).charge_limit_percent == 80
    assert charging_day(DAY, [FULL]).charge_limit_percent is None
