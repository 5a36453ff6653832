import itertools
from datetime import date

import pytest

from fadewatch_collector.rules.fleet_outlook import ExpectedMonth, months_ahead
from fadewatch_collector.rules.fleet_shares import Share
from fadewatch_collector.web.bar_plot import (
    NARROW,
    WIDE,
    count_ticks,
    month_bars,
    share_pieces,
)
from fadewatch_collector.web.plot_scale import LETTER_WIDTH, Frame


def months(*counts: tuple[float, int, int]) -> list[ExpectedMonth]:
    starts = months_ahead(date(2026, 11, 25))
    return [
        ExpectedMonth(
            threshold="plan",
            month=start,
            expected=mean,
            low=low,
            high=high,
            by_then=mean,
            by_then_low=low,
            by_then_high=high,
        )
        for start, (mean, low, high) in zip(starts, counts, strict=False)
    ]


@pytest.mark.parametrize("frame", [WIDE, NARROW])
def test_bars_stand_on_the_floor_and_ranges_stay_in_the_frame(frame: Frame) -> None:
    plot = month_bars(months(*[(2.5 + n % 7, n % 3, 4 + n) for n in range(25)]), frame)

    assert plot is not None
    assert len(plot.bars) == 25
    for bar in plot.bars:
        assert bar.y + bar.height == pytest.approx(frame.bottom_edge, abs=0.2)
        assert frame.top - 0.1 <= bar.high <= bar.low <= frame.bottom_edge
        assert frame.left <= bar.x
        assert bar.x + bar.width <= frame.right_edge
    names = [tick.at for tick in plot.month_ticks]
    gaps = [b - a for a, b in itertools.pairwise(names)]
    assert min(gaps) >= LETTER_WIDTH * len("2026-11")


def test_nothing_expected_draws_nothing() -> None:
    assert month_bars([], WIDE) is None


def test_months_of_nothing_still_have_an_axis() -> None:
    plot = month_bars(months((0.0, 0, 0), (0.0, 0, 0)), WIDE)

    assert plot is not None
    assert [tick.label for tick in plot.count_ticks] == ["0", "1"]


@pytest.mark.parametrize(
    ("highest", "ticks"),
    [
        (1.0, [0, 1]),
        (4.0, [0, 1, 2, 3, 4]),
        (7.2, [0, 2, 4, 6, 8]),
        (930, [0, 500, 1000]),
    ],
)
def test_ticks_are_round_and_few(highest: float, ticks: list[float]) -> None:
    assert count_ticks(highest) == ticks


def test_pieces_of_a_share_fill_the_bar_worst_first() -> None:
    share = Share(
        key="a", name="a", sound=5, plan=3, replace=2, unknown=0, first_seen=0
    )

    pieces = share_pieces(share, 200.0)

    assert [(one.band, one.x, one.width) for one in pieces] == [
        ("replace", 0.0, 40.0),
        ("plan", 40.0, 60.0),
        ("sound", 100.0, 100.0),
    ]
