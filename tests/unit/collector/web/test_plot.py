"""Geometry of the wear plot."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.web.plot import GAP_DAYS, Level, Plot, Subject, wear_plot
from fadewatch_collector.web.plot_forecast import Forecast, Meeting, Range
from fadewatch_collector.web.plot_marks import MARK_ROW, Mark
from fadewatch_collector.web.plot_scale import Frame

FRAME = Frame(width=200, height=100, left=40, right=10, top=10, bottom=20)
START = date(2024, 1, 1)


def drawn(subject: Subject, frame: Frame = FRAME) -> Plot:
    plot = wear_plot(subject, frame)
    assert plot is not None
    return plot


def days(*wears: float, every: int = 30) -> list[tuple[date, float]]:
    return [(START + timedelta(days=every * n), wear) for n, wear in enumerate(wears)]


def test_there_is_no_plot_without_a_value() -> None:
    assert wear_plot(Subject(values=()), FRAME) is None


def test_a_line_goes_from_edge_to_edge_and_rises_with_wear() -> None:
    # Wear 0 to 0.15 with 0.05 of headroom: 0.20 over 70 units of height.
    plot = drawn(Subject(values=days(0.0, 0.15)))

    assert plot.line == "M40.0 80.0h0 L190.0 27.5"
    assert plot.last == (190.0, 27.5)


def test_a_long_gap_breaks_the_line() -> None:
    plot = drawn(Subject(values=days(0.1, 0.1, every=GAP_DAYS + 1)))

    assert plot.line.count("M") == 2
    assert "L" not in plot.line


def test_days_that_cannot_be_told_apart_become_one_point() -> None:
    plot = drawn(Subject(values=days(*[0.1] * 1500, every=1)))

    assert 70 <= plot.line.count("L") <= 76


def test_a_single_outlier_among_crowded_days_does_not_spike() -> None:
    wears = [0.1] * 1500
    wears[700] = 0.9

    plot = drawn(Subject(values=days(*wears, every=1)))

    heights = {
        point.split()[1].removesuffix("h0") for point in plot.line[1:].split(" L")
    }
    assert len(heights) == 1


def test_the_line_ends_at_the_newest_value() -> None:
    plot = drawn(Subject(values=days(*[0.1] * 999, 0.3, every=1)))

    assert plot.line.endswith(f"L{plot.last[0]} {plot.last[1]}")


def test_wear_below_zero_is_drawn_between_zero_and_the_floor() -> None:
    plot = drawn(Subject(values=days(-0.04, 0.1)))

    (zero,) = (tick.at for tick in plot.wear_ticks if tick.label == "0 %")
    assert zero < float(plot.line.split()[1].removesuffix("h0")) < FRAME.bottom_edge


def test_levels_are_drawn_at_their_wear_in_the_order_given() -> None:
    levels = (Level(0.4, "replace"), Level(0.2, "published", faint=True))

    plot = drawn(Subject(values=days(0.0, 0.1), levels=levels))

    assert [(level.name, level.faint) for level in plot.levels] == [
        ("replace", False),
        ("published", True),
    ]
    assert FRAME.top < plot.levels[0].y < plot.levels[1].y < FRAME.bottom_edge


def test_a_level_s_name_stands_where_the_line_is_not() -> None:
    level = (Level(0.3, "plan"),)

    low_first = drawn(Subject(values=days(0.05, 0.33), levels=level))
    at_the_level_first = drawn(Subject(values=days(0.31, 0.31, 0.6), levels=level))

    assert low_first.levels[0].anchor == "start"
    assert at_the_level_first.levels[0].anchor == "end"


def test_a_pack_seen_today_for_the_first_time_has_an_axis() -> None:
    plot = drawn(Subject(values=days(0.02), until=START))

    assert plot.last[0] == FRAME.left
    assert plot.day_ticks


def forecast(*meetings: Meeting) -> Forecast:
    low, high = days(0.1, 0.2), days(0.1, 0.4)
    return Forecast(Range(low, high), course=days(0.1, 0.3), meetings=meetings)


def meeting(on: date, latest: date) -> Meeting:
    return Meeting(0.4, on, START, latest, "in full", "short")


def test_a_forecast_is_a_closed_outline_there_and_back() -> None:
    plot = drawn(Subject(values=days(0.1), forecast=forecast()))

    assert plot.forecast is not None
    assert plot.forecast.outline.startswith("M40.0")
    assert plot.forecast.outline.endswith(" Z")
    assert plot.forecast.outline.count("L") == 3
    assert plot.forecast.course.count("L") == 1


def test_the_axis_reaches_as_far_as_the_forecast() -> None:
    plot = drawn(Subject(values=days(0.1, 0.1, every=15), forecast=forecast()))

    assert plot.last[0] == (FRAME.left + FRAME.right_edge) / 2


def test_what_a_forecast_meets_beyond_the_plot_ends_at_its_side() -> None:
    inside = meeting(START + timedelta(days=15), START + timedelta(days=900))
    beyond = meeting(START + timedelta(days=800), START + timedelta(days=900))

    plot = drawn(Subject(values=days(0.1), forecast=forecast(inside, beyond)))

    assert plot.forecast is not None
    first, second = plot.forecast.meetings
    assert first.at == (FRAME.left + FRAME.right_edge) / 2
    assert first.bar == second.bar == (FRAME.left, FRAME.right_edge)
    assert (second.at, second.name_x, second.anchor) == (None, FRAME.right_edge, "end")


def test_a_wide_plot_writes_a_meeting_in_full() -> None:
    one = meeting(START, START + timedelta(days=3))

    wide = drawn(
        Subject(values=days(0.1), forecast=forecast(one)), Frame(width=700, height=100)
    )
    narrow = drawn(Subject(values=days(0.1), forecast=forecast(one)))

    assert wide.forecast is not None
    assert narrow.forecast is not None
    assert wide.forecast.meetings[0].name == "in full"
    assert narrow.forecast.meetings[0].name == "short"


def test_readings_are_points_drawn_once_each() -> None:
    plot = drawn(Subject(values=days(0.1, 0.1), readings=days(*[0.12] * 900, every=1)))

    places = plot.points.split(" M")
    assert len(places) == len(set(places))
    assert 140 < len(places) <= 151


def test_marks_stand_at_their_days_in_rows_above_the_plot() -> None:
    marks = (Mark(START, "fitted", "swap"), Mark(START, "inspected", "inspection"))

    plain = drawn(Subject(values=days(0.1, 0.1)))
    plot = drawn(Subject(values=days(0.1, 0.1), marks=marks))

    assert [mark.at for mark in plot.marks] == [FRAME.left, FRAME.left]
    assert plot.marks[1].y - plot.marks[0].y == MARK_ROW
    assert plot.frame.top == plain.frame.top + 2 * MARK_ROW
    assert (
        plot.frame.bottom_edge - plot.frame.top
        == plain.frame.bottom_edge - plain.frame.top
    )


def test_a_mark_outside_the_days_shown_is_left_to_the_table() -> None:
    early = Mark(START - timedelta(days=9), "fitted", "swap")

    assert not drawn(Subject(values=days(0.1, 0.1), marks=(early,))).marks


def test_a_date_that_would_be_cut_off_ends_at_its_place() -> None:
    plot = drawn(Subject(values=days(0.1, 0.1, every=14)))

    assert plot.day_ticks[-1].at == FRAME.right_edge
    assert plot.day_ticks[-1].anchor == "end"
    assert plot.day_ticks[0].anchor == "middle"


@given(
    wears=st.lists(st.floats(-0.3, 1.0), min_size=1, max_size=60),
    gaps=st.integers(1, 90),
)
def test_everything_drawn_lies_inside_the_frame(wears: list[float], gaps: int) -> None:
    plot = drawn(Subject(values=days(*wears, every=gaps), levels=(Level(0.4, "r"),)))

    for piece in plot.line.replace("h0", "").replace("M", "L").split("L")[1:]:
        x, y = map(float, piece.split())
        assert FRAME.left <= x <= FRAME.right_edge
        assert FRAME.top <= y <= FRAME.bottom_edge
