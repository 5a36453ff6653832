"""Where the names of marked days stand."""

from datetime import date, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.web.plot_marks import MOST_ROWS, Mark, drawn_marks
from fadewatch_collector.web.plot_scale import Frame, Scale

FRAME = Frame(width=330, height=250)
START = date(2024, 1, 1)
X = Scale(START.toordinal(), START.toordinal() + 700, FRAME.left, FRAME.right_edge)


def on(day: int, name: str = "inspected") -> Mark:
    return Mark(START + timedelta(days=day), name, "inspection")


def test_names_that_have_room_share_a_row() -> None:
    drawn, rows = drawn_marks([on(600), on(10)], X, FRAME)

    assert rows == 1
    assert [mark.at for mark in drawn] == sorted(mark.at for mark in drawn)


def test_a_name_near_the_right_side_is_written_to_the_left() -> None:
    (mark,), _ = drawn_marks([on(700)], X, FRAME)

    assert mark.anchor == "end"
    assert mark.name_x < mark.at


def test_what_finds_no_room_keeps_its_sign_only() -> None:
    drawn, rows = drawn_marks([on(300) for _ in range(6)], X, FRAME)

    assert rows == MOST_ROWS
    assert [bool(mark.name) for mark in drawn] == [True] * MOST_ROWS + [False] * 2


@given(st.lists(st.tuples(st.integers(0, 700), st.text("xy", min_size=1, max_size=12))))
def test_no_two_names_overlap(marks: list[tuple[int, str]]) -> None:
    drawn, rows = drawn_marks([on(*mark) for mark in marks], X, FRAME)
    spans: dict[float, list[tuple[float, float]]] = {}
    for mark in drawn:
        if mark.name:
            width = 7.0 * len(mark.name)
            first = mark.name_x - (width if mark.anchor == "end" else 0)
            spans.setdefault(mark.y, []).append((first, first + width))

    assert rows <= MOST_ROWS
    for row in spans.values():
        ordered = sorted(row)
        assert all(a[1] <= b[0] for a, b in pairwise(ordered))
