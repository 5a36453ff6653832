"""Measurement times of a laptop whose clock is wrong. Pure.

A laptop knows that its clock is wrong from the Date of its collector's answers, and how
long ago a reading was taken from the time since it was started, which no setting of the
clock changes. What its clock said stays in the report: in a remark, and in the report's
id.
"""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple, TypeGuard

TOLERANCE_SECONDS = 300.0
"""Difference of the two clocks that is left alone [s]. Own choice."""

LONGEST_TRUST = timedelta(days=30)
"""Time for which a clock that was right is taken to be right still. Own choice."""

RELEASED = datetime(2026, 1, 1, tzinfo=UTC)
"""No clock before this is right: the agent did not exist."""


class Ticks(NamedTuple):
    """Which start of the machine it is, and the time since then, asleep or not.

    Attributes
    ----------
    boot
        The kernel's name for this start.
    seconds
        Time since then [s].
    """

    boot: str
    seconds: float


class Taken(NamedTuple):
    """When a reading was taken, by the laptop's clock and since its start."""

    claimed: datetime
    ticks: Ticks | None


def is_in_doubt(now: Taken, last: Mapping[str, Any]) -> bool:
    """Say whether the clock must be compared with the collector's first.

    Within one start of the machine the time since then shows whether the clock was
    set; across starts it is trusted for a while.

    Parameters
    ----------
    last
        What :func:`comparison` said at the last contact; empty when there was none.
    """
    then, ahead = _moment(last.get("at")), last.get("ahead")
    if then is None or not _is_number(ahead) or abs(ahead) > TOLERANCE_SECONDS:
        return True
    if now.claimed < RELEASED:
        return True
    seconds = last.get("ticks")
    if now.ticks and now.ticks.boot == last.get("boot") and _is_number(seconds):
        passed_really = timedelta(seconds=now.ticks.seconds - seconds)
        return is_wrong(now.claimed, then + passed_really)
    passed = now.claimed - then
    return not -timedelta(seconds=TOLERANCE_SECONDS) <= passed <= LONGEST_TRUST


def comparison(now: Taken, ahead: float) -> dict[str, Any]:
    """Return what is remembered of a contact."""
    told: dict[str, Any] = {"at": now.claimed.isoformat(), "ahead": round(ahead, 1)}
    if now.ticks is not None:
        told |= {"boot": now.ticks.boot, "ticks": round(now.ticks.seconds, 1)}
    return told


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float))


def true_time(taken: Taken, now: Taken, ahead: float) -> datetime:
    """Return when a reading was really taken, as well as it can be told.

    Within the start of the machine in which it is asked this is exact. A reading of an
    earlier start keeps the time that it claims, unless that cannot be: then the clock
    is taken to have been as wrong as it is now.

    Parameters
    ----------
    ahead
        How far the collector's clock is ahead of this laptop's [s].
    """
    right_now = now.claimed + timedelta(seconds=ahead)
    if taken.ticks is not None and now.ticks is not None:
        passed = now.ticks.seconds - taken.ticks.seconds
        if taken.ticks.boot == now.ticks.boot and passed >= 0:
            return right_now - timedelta(seconds=passed)
    shifted = taken.claimed + timedelta(seconds=ahead)
    cannot_be = not RELEASED <= taken.claimed <= right_now
    return shifted if cannot_be and RELEASED <= shifted <= right_now else taken.claimed


def is_wrong(claimed: datetime, true: datetime) -> bool:
    """Say whether a claimed time is so far off that it is corrected."""
    return abs((true - claimed).total_seconds()) > TOLERANCE_SECONDS


def clock_remark(claimed: datetime, true: datetime) -> str:
    """Say what the clock said and how far off it was."""
    seconds = (true - claimed).total_seconds()
    where = "behind" if seconds > 0 else "ahead of"
    return (
        f"clock: this laptop's said {claimed:%Y-%m-%d %H:%M:%S} UTC, {_span(seconds)} "
        f"{where} the collector's; measured_at was corrected"
    )


def _span(seconds: float) -> str:
    minutes = round(abs(seconds) / 60)
    for unit, size in (("days", 1440), ("hours", 60)):
        if minutes >= 2 * size:
            return f"{round(minutes / size)} {unit}"
    return f"{minutes} minutes"


def _moment(text: object) -> datetime | None:
    try:
        moment = datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return moment if moment.tzinfo else None
