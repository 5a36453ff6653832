"""Geometry of bars with ranges, month by month, and of shares in one bar; no markup."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fadewatch_collector.rules.fleet_outlook import ExpectedMonth
from fadewatch_collector.rules.fleet_shares import NEED, Share
from fadewatch_collector.web.plot import Tick
from fadewatch_collector.web.plot_scale import LETTER_WIDTH, Frame, Scale

WIDE = Frame(width=760, height=230)
NARROW = Frame(width=330, height=210, left=34, right=8)
"""Text in a drawing shrinks with it, so phones get a drawing of their own."""

BAR_PART = 0.62
"""Part of a month's room that its bar takes. Own choice."""
CAP_PART = 0.3
"""The same of the cross strokes that end a range. Own choice."""
MOST_TICKS = 5
TICK_STEPS = (1, 2, 5)
MONTH_STEPS = (1, 2, 3, 6, 12)
TICK_ROOM = 1.4
"""Room for a month's name, in widths of the name. Own choice."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One month: a bar of the count expected, and a stroke over its range."""

    x: float
    y: float
    width: float
    height: float
    middle: float
    low: float
    high: float
    cap: tuple[float, float]


@dataclass(frozen=True, slots=True)
class BarPlot:
    """Everything that markup needs to draw the months."""

    frame: Frame
    bars: Sequence[Bar]
    count_ticks: Sequence[Tick]
    month_ticks: Sequence[Tick]


@dataclass(frozen=True, slots=True)
class Piece:
    """The part of one band in a bar of shares."""

    band: str
    x: float
    width: float
    packs: int


def month_bars(months: Sequence[ExpectedMonth], frame: Frame) -> BarPlot | None:
    """Place the bars of months in a row; None without any."""
    if not months:
        return None
    top = max(max(month.high, month.expected) for month in months)
    ticks = count_ticks(max(top, 1.0))
    y = Scale(0.0, max(ticks[-1], top), frame.bottom_edge, frame.top)
    room = (frame.right_edge - frame.left) / len(months)
    return BarPlot(
        frame=frame,
        bars=[
            _bar(month, frame.left + room * (place + 0.5), room, y)
            for place, month in enumerate(months)
        ],
        count_ticks=[Tick(y(count), f"{count:g}") for count in ticks],
        month_ticks=[
            Tick(round(frame.left + room * (place + 0.5), 1), f"{month.month:%Y-%m}")
            for place, month in enumerate(months)
            if _has_name(month, len(months), room)
        ],
    )


def _bar(month: ExpectedMonth, middle: float, room: float, y: Scale) -> Bar:
    half = room * BAR_PART / 2
    top = y(month.expected)
    cap = room * CAP_PART / 2
    return Bar(
        x=round(middle - half, 1),
        y=top,
        width=round(2 * half, 1),
        height=round(y(0.0) - top, 1),
        middle=round(middle, 1),
        low=y(month.low),
        high=y(month.high),
        cap=(round(middle - cap, 1), round(middle + cap, 1)),
    )


def _has_name(month: ExpectedMonth, count: int, room: float) -> bool:
    wanted = TICK_ROOM * LETTER_WIDTH * len("2026-11")
    step = next(
        (step for step in MONTH_STEPS if step * room >= wanted), MONTH_STEPS[-1]
    )
    del count
    return (month.month.month - 1) % step == 0


def count_ticks(highest: float) -> list[float]:
    """Return round counts from 0 up to a count, a handful at most."""
    power = 1
    while True:
        for step in TICK_STEPS:
            last = math.ceil(highest / (step * power))
            if last < MOST_TICKS:
                return [float(step * power * number) for number in range(last + 1)]
        power *= 10


def share_pieces(share: Share, width: float) -> list[Piece]:
    """Part a bar among the bands of a share, those that ask for something first."""
    pieces: list[Piece] = []
    at = 0.0
    for band in NEED:
        packs = getattr(share, band)
        if packs:
            part = packs / share.packs * width
            pieces.append(Piece(band, round(at, 1), round(part, 1), packs))
            at += part
    return pieces
