"""The plot of one pack's wear, and the same facts as text and tables."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from fadewatch_collector.usecases.overview import DailyValue
from fadewatch_collector.usecases.page_views import PackCourse
from fadewatch_collector.web.happenings import Happening
from fadewatch_collector.web.outlook import Expected, expected_of, forecast_from
from fadewatch_collector.web.plot import Level, Plot, Subject, wear_plot
from fadewatch_collector.web.plot_scale import Frame, Value
from fadewatch_collector.web.ticks import percent as level_percent
from fadewatch_collector.web.words import percent
from fadewatch_common.policy import PUBLISHED_END_OF_LIFE_WEAR, Policy
from fadewatch_common.wear import wear

WIDE = Frame(width=760, height=300)
NARROW = Frame(width=330, height=250, left=40, right=8)
"""Text in a drawing shrinks with it, so phones get a drawing of their own."""

_FRAMES = (("wide", WIDE), ("narrow", NARROW))


@dataclass(frozen=True, slots=True)
class MonthRow:
    """The newest daily value of one month, with the level of that day."""

    value: DailyValue
    wear: float
    level: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackPlot:
    """Drawings for wide and narrow screens, and what stands in them in words.

    Attributes
    ----------
    story
        The line in a sentence.
    outlook
        The forecast in sentences.
    happened
        What is marked: day and sentence, newest first.
    months
        The readings, a line a month, newest first.
    """

    drawings: Sequence[tuple[str, Plot]]
    story: str
    outlook: Sequence[str]
    happened: Sequence[tuple[date, str]]
    months: Sequence[MonthRow]


def pack_plot(
    course: PackCourse,
    policy: Policy,
    happenings: Sequence[Happening],
    *,
    until: date,
    is_in_use: bool,
) -> PackPlot:
    """Draw a pack's course.

    Parameters
    ----------
    until
        Day up to which the axis goes, even without values.
    is_in_use
        The pack sits in a laptop: only then there is something to forecast.
    """
    expected = _expected(course, policy) if is_in_use else []
    subject = Subject(
        values=course.level,
        readings=[(value.day, _wear(value)) for value in course.values],
        levels=_levels(policy),
        until=until,
        forecast=forecast_from(course.level, expected) if expected else None,
        marks=[one.mark for one in happenings],
    )
    drawn = [(name, wear_plot(subject, frame)) for name, frame in _FRAMES]
    return PackPlot(
        drawings=[(name, plot) for name, plot in drawn if plot is not None],
        story=_story(course),
        outlook=[_sentence(one) for one in expected],
        happened=sorted(((one.mark.day, one.what) for one in happenings), reverse=True),
        months=_months(course.values, dict(course.level)),
    )


def _expected(course: PackCourse, policy: Policy) -> list[Expected]:
    if not course.level:
        return []
    day, now = course.level[-1]
    expected = expected_of(course.assessment, policy, day)
    return [one for one in expected if one.wear > now]


def _sentence(one: Expected) -> str:
    return (
        f"Wear is expected to pass the {one.name} threshold "
        f"({level_percent(one.wear)}) around {one.on}; 80 % sure: {one.interval}."
    )


def _wear(value: DailyValue) -> float:
    return wear(value.full_charge_capacity, value.design_capacity)


def _levels(policy: Policy) -> list[Level]:
    published = level_percent(PUBLISHED_END_OF_LIFE_WEAR)
    return [
        Level(
            policy.replace_wear, f"replace from {level_percent(policy.replace_wear)}"
        ),
        Level(policy.plan_wear, f"plan from {level_percent(policy.plan_wear)}"),
        Level(
            PUBLISHED_END_OF_LIFE_WEAR,
            f"{published}: end of life as published",
            faint=True,
        ),
    ]


def _story(course: PackCourse) -> str:
    if not course.level:
        return "No daily value yet."
    (first, before), (last, now) = course.level[0], course.level[-1]
    if first == last:
        return f"Wear was {percent(now)} on {last}."
    return (
        f"Wear went from {percent(before)} on {first} to {percent(now)} on {last}, "
        f"by {len(course.values)} daily values (points); the line is their cleaned "
        "level."
    )


def _months(values: Sequence[DailyValue], level: dict[date, float]) -> list[MonthRow]:
    newest_first = reversed(values)
    months = groupby(newest_first, key=lambda value: (value.day.year, value.day.month))
    newest = [next(of_month) for _, of_month in months]
    return [MonthRow(value, _wear(value), level.get(value.day)) for value in newest]


def newest_wear(values: Sequence[Value]) -> float | None:
    """Return the last value of a level; None without any."""
    return values[-1][1] if values else None
