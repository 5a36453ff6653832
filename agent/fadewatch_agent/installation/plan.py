"""What an installation consists of, worked out before anything is touched."""

from collections.abc import Sequence
from pathlib import PurePath
from typing import NamedTuple

SPREAD = "2m"
"""Longest wait before a laptop enrols. Own choice: of a thousand laptops that start in
the same minute some eight ask in a second."""


class PlannedFile(NamedTuple):
    """A file that the installation owns; ``link`` is set for a symbolic link."""

    place: PurePath
    content: bytes = b""
    mode: int = 0o644
    link: str | None = None


class Step(NamedTuple):
    """A program of the operating system to run.

    Attributes
    ----------
    words
        The program and its arguments.
    may_fail
        Whether a failure is of no account, as when what is ended was not there.
    """

    words: tuple[str, ...]
    may_fail: bool = False


class Schedule(NamedTuple):
    """How one system's timer is set up.

    Attributes
    ----------
    files
        What describes the timer.
    before
        Steps that end an earlier one.
    after
        Steps that make the files count, in an image too.
    start
        Steps that start the timer and read for the first time.
    stop
        Steps that end the timer before its files go.
    gone
        Steps after the files are gone.
    """

    files: tuple[PlannedFile, ...]
    before: tuple[Step, ...] = ()
    after: tuple[Step, ...] = ()
    start: tuple[Step, ...] = ()
    stop: tuple[Step, ...] = ()
    gone: tuple[Step, ...] = ()


def step(*words: str, may_fail: bool = False) -> Step:
    """Return a step."""
    return Step(words, may_fail)


def delay_minutes(minutes: int) -> int:
    """Return the longest random delay of a timer: a sixth of its period.

    Own choice: laptops that wake together do not report together.
    """
    return max(1, minutes // 6)


def hours_and_minutes(minutes: int) -> Sequence[tuple[int, int]]:
    """Return the times of a day at which a period begins."""
    return [divmod(start, 60) for start in range(0, 1440, minutes)]
