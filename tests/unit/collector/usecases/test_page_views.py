"""The course of a pack as pages draw it."""

from datetime import date, timedelta

import pytest

from fadewatch_collector.usecases.overview import AssessmentRow, DailyValue
from fadewatch_collector.usecases.page_views import course_of

START = date(2026, 1, 1)


def value(day: int, wear: float) -> DailyValue:
    return DailyValue(
        START + timedelta(days=day), "mWh", 50_000, 50_000 * (1 - wear), None, 3
    )


def assessment(wear: float, as_of: int, **drop: object) -> AssessmentRow:
    return AssessmentRow(
        as_of=START + timedelta(days=as_of),
        readings=40,
        wear=wear,
        band="sound",
        fade_per_month=None,
        plan_earliest=None,
        plan_on=None,
        plan_latest=None,
        replace_earliest=None,
        replace_on=None,
        replace_latest=None,
        gauge="good",
        concern="none",
        reasons=[],
        details={"sudden_drop": drop or None},
    )


FALLEN = [value(day, 0.1 if day < 35 else 0.25) for day in range(40)]
FELL_ON = (START + timedelta(days=35)).isoformat()


def test_the_level_ends_with_the_wear_that_is_stated() -> None:
    course = course_of([value(day, 0.1) for day in range(40)], assessment(0.105, 39))

    assert len(course.level) == 40
    assert course.level[-1] == (START + timedelta(days=39), 0.105)


def test_a_drop_that_is_not_borne_out_yet_is_no_level() -> None:
    said = assessment(0.1, 39, on=FELL_ON, percent=15.0, confirmed=False)

    course = course_of(FALLEN, said)

    assert max(wear for _, wear in course.level) == pytest.approx(0.1, abs=1e-6)
    assert len(course.level) == 36
    assert len(course.values) == 40


def test_a_confirmed_drop_is_in_the_level() -> None:
    said = assessment(0.25, 39, on=FELL_ON, percent=15.0, confirmed=True)

    course = course_of(FALLEN, said)

    assert course.level[-2][1] == pytest.approx(0.25, abs=1e-6)


def test_an_assessment_older_than_the_readings_does_not_bend_the_level() -> None:
    course = course_of(FALLEN, assessment(0.1, 20))

    assert course.level[-1][1] == pytest.approx(0.25, abs=1e-6)


def test_a_pack_without_a_usable_reading_has_no_level() -> None:
    assert course_of([], assessment(0.1, 20)).level == []
