"""Which message goes to whom, when, and when to try again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from fadewatch_collector.rules.alert_terms import URGENCIES, AlertState, Urgency

Channel = Literal["mail", "webhook"]
MessageKind = Literal["stop-use", "act", "digest", "test"]
Verdict = Literal["accepted", "later", "refused"]

AT_ONCE: tuple[Urgency, ...] = ("stop-use", "act")
"""Told one by one as soon as they open; the rest waits for the day's digest."""

MINUTES_A_DAY = 24 * 60

FIRST_WAIT = timedelta(seconds=30)
"""Longest wait before the second try; doubled with each further one. Own choice."""

LONGEST_WAIT = timedelta(hours=1)
"""Longest wait between two tries that the receiver did not ask for. Own choice."""

GIVE_UP_AFTER = timedelta(days=3)
"""Age at which a message that nobody takes is given up."""

LEAST_TRIES = 8
"""Tries that an old message gets even so, about half an hour of them: the collector may
have been off for days, and one bad moment must not lose what waited. Own choice."""

LEAVE_ALONE = timedelta(minutes=1)
"""Longest time for which a receiver that just failed gets no other message. Own
choice: long enough not to hammer it, short enough to notice that it is back."""

_TRY_AGAIN_STATUSES = frozenset({408, 425, 429})
"""Client errors that pass by themselves: RFC 9110 section 15.5.9, RFC 8470, RFC 6585."""


@dataclass(frozen=True, slots=True)
class Quiet:
    """Hours of every day in which only `stop-use` is sent; they may span midnight.

    Attributes
    ----------
    from_minute, until_minute
        Minutes of the day in UTC; the last one is no longer quiet.
    """

    from_minute: int
    until_minute: int

    def ends(self, now: datetime) -> datetime | None:
        """Return when the quiet that reigns now is over, or None when none does."""
        minute = now.hour * 60 + now.minute
        length = (self.until_minute - self.from_minute) % MINUTES_A_DAY
        if (minute - self.from_minute) % MINUTES_A_DAY >= length:
            return None
        left = (self.until_minute - minute) % MINUTES_A_DAY
        return now.replace(second=0, microsecond=0) + timedelta(minutes=left)


@dataclass(frozen=True, slots=True)
class Route:
    """Where messages go, and which.

    Attributes
    ----------
    target
        A mail address or the address of a webhook.
    secret
        Signs what goes to a webhook.
    sites
        None is every site.
    """

    id: int
    label: str
    channel: Channel
    target: str
    secret: str | None
    urgencies: Sequence[Urgency]
    sites: Sequence[str] | None
    quiet: Quiet | None

    def wants(self, urgency: Urgency, site: str | None) -> bool:
        """Say whether an alert of this urgency and site concerns the route."""
        return urgency in self.urgencies and (self.sites is None or site in self.sites)

    def not_before(self, what: MessageKind, now: datetime) -> datetime:
        """Return the moment from which a message may be sent: now, or after quiet."""
        if what == "stop-use" or self.quiet is None:
            return now
        return self.quiet.ends(now) or now


@dataclass(frozen=True, slots=True)
class AlertNow:
    """What of an alert decides whether it is still to be told."""

    state: AlertState
    urgency: Urgency
    reopened: int


def is_overtaken(
    what: MessageKind, urgency: Urgency, reopened: int, alert: AlertNow | None
) -> bool:
    """Say whether the alert that a waiting message tells of has gone on without it.

    It ended, or it became more urgent or opened again, and then a newer message tells
    of that. One that tells to stop using a pack is sent whatever happened since.
    """
    if what == "stop-use":
        return False
    if alert is None or alert.state == "ended":
        return True
    rose = is_more_urgent(alert.urgency, urgency)
    return rose or alert.reopened != reopened


def is_more_urgent(urgency: Urgency, than: Urgency) -> bool:
    """Compare two urgencies."""
    return URGENCIES.index(urgency) < URGENCIES.index(than)


def next_try(
    *,
    written_at: datetime,
    tries: int,
    now: datetime,
    draw: float,
    retry_after: timedelta | None = None,
) -> datetime | None:
    """Return when to try a message again, or None to give it up.

    Parameters
    ----------
    tries
        How often it was tried, the failure just met included.
    draw
        A random number from 0 up to 1: all of the wait is jitter, so that what failed
        together does not come back together.
    retry_after
        What the receiver asked for; the jitter comes on top.

    References
    ----------
    M. Brooker, "Exponential Backoff and Jitter", 2015: "full jitter".
    """
    doublings = min(max(tries - 1, 0), 20)
    wait = draw * min(LONGEST_WAIT, FIRST_WAIT * 2.0**doublings)
    deadline = written_at + GIVE_UP_AFTER
    if retry_after is not None:
        if now + retry_after > max(deadline, now + LONGEST_WAIT):
            return None
        wait += retry_after
    if now + wait > deadline and tries >= LEAST_TRIES:
        return None
    return now + wait


def leave_alone_until(
    now: datetime, next_at: datetime, retry_after: timedelta | None
) -> datetime:
    """Return until when a receiver that just failed gets no other message either."""
    return next_at if retry_after is not None else min(next_at, now + LEAVE_ALONE)


def judge_status(status: int) -> Verdict:
    """Say what a webhook's answer means: taken, try again later, or never.

    A redirect is a refusal: it is not followed, because whoever can set one could send
    messages anywhere.
    """
    if status in _TRY_AGAIN_STATUSES:
        return "later"
    match status // 100:
        case 2:
            return "accepted"
        case 5:
            return "later"
        case _:
            return "refused"
