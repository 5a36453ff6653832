"""Report again and again, where the system has no timer for it."""

import signal
import sys
from collections.abc import Callable
from types import FrameType
from typing import NamedTuple

LONGEST_NAP = 60.0
"""Longest sleep at once [s]: a laptop that was suspended is late by this at most, since
sleeping stands still while it is suspended. Own choice."""


class Rhythm(NamedTuple):
    """Time and chance.

    Attributes
    ----------
    wall
        The clock [unix s].
    pause
        Waits for a number of seconds.
    jitter
        Gives a random number between 0 and its argument.
    """

    wall: Callable[[], float]
    pause: Callable[[float], None]
    jitter: Callable[[float], float]


def wait_until_due(period: float, rhythm: Rhythm) -> None:
    """Wait for one period, more or less, by the clock on the wall.

    Parameters
    ----------
    period
        Period [s]. A sixth of it at most is added at random.

    Notes
    -----
    A clock that is set back by more than a period does not make the wait longer.
    """
    began = rhythm.wall()
    due = began + period + rhythm.jitter(period / 6)
    while True:
        now = rhythm.wall()
        if now >= due or now < began - period:
            return
        rhythm.pause(min(LONGEST_NAP, due - now))


def end_on_signals() -> None:
    """End this process, orderly, when the system asks it to."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, _end)


def _end(number: int, frame: FrameType | None) -> None:
    sys.exit(0)
