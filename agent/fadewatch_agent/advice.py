"""What is wrong, and what to do about it: a sentence each. Pure."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, NamedTuple

LATE = 3
"""Periods without a run after which the timer is doubted. Own choice."""

_TIMERS = {
    "linux": "systemctl list-timers fadewatch-agent.timer",
    "darwin": "launchctl print system/local.fadewatch.agent",
    "win32": r"schtasks /Query /TN \Fadewatch\Report",
}
_AGAIN = (
    "make a new enrolment token on the collector and run 'fadewatch-agent install "
    "--token-file FILE' with it"
)
_BY_KIND = {
    "Refused": "The collector does not accept this laptop's {secret}: {again}. "
    "{waiting} and nothing is lost.",
    "NotEnrolled": "This laptop has no key and no token to get one: {again}.",
    "InvalidConfiguration": "A setting cannot be used: {error}. Correct it; {waiting}.",
    "NotACollector": "Something else than the collector answered: {error}. A network "
    "that asks to sign in does that, and so does a wrong address. {waiting} and nothing "
    "is lost.",
    "Unacceptable": "The collector does not understand this agent: {error}. They may "
    "be of versions that do not fit. {waiting}.",
}
_NOT_REACHED = (
    "The collector was not reached: {error}. {hint} {waiting}; the next run tries again "
    "and nothing is lost."
)
_NOT_SET = (
    "No collector is set: run 'fadewatch-agent install --collector URL --token-file "
    "FILE', or drop a settings file."
)
_REJECTED = (
    "{count} {reports} rejected and set aside; the reasons are below, for whoever looks "
    "after the collector."
)


class Situation(NamedTuple):
    """What the advice goes by.

    Attributes
    ----------
    last
        What the last run remembered.
    every
        Period of the timer.
    """

    collector: str | None
    enrolled: bool
    queued: int
    set_aside: int
    last: Mapping[str, Any]
    every: timedelta
    now: datetime
    platform: str


def advice(seen: Situation) -> tuple[str, ...]:
    """Say what is wrong and what to do; that all is well when it is."""
    if seen.collector is None:
        return (_NOT_SET,)
    sentences = [
        *_about_the_timer(seen),
        *_about_the_error(seen),
        *_about_rejected(seen),
    ]
    if sentences:
        return tuple(sentences)
    return ("All is well: what was read is with the collector.",)


def _about_the_timer(seen: Situation) -> list[str]:
    look = f"look whether it runs: {_TIMERS.get(seen.platform, 'the timer')}."
    ran = moment_of(seen.last.get("ran_at"))
    if ran is None:
        return [f"The agent has never run here; its timer starts it: {look}"]
    if seen.now - ran > LATE * seen.every:
        days = (seen.now - ran).days
        since = f"for {days} days" if days else f"since {ran:%H:%M} UTC"
        return [f"The agent has not run {since}; the timer may be off, {look}"]
    return []


def _about_the_error(seen: Situation) -> list[str]:
    error = seen.last.get("error")
    if not error:
        return []
    words = _BY_KIND.get(str(seen.last.get("error_kind")), _NOT_REACHED)
    reports = "report waits" if seen.queued == 1 else "reports wait"
    return [
        words.format(
            error=error,
            secret="key" if seen.enrolled else "enrolment token",
            again=_AGAIN,
            waiting=f"{seen.queued} {reports}",
            hint=_about_reaching(str(error)),
        )
    ]


def _about_reaching(error: str) -> str:
    if "clock says" in error:
        return "Set this laptop's clock, or renew the collector's certificate."
    if "CERTIFICATE_VERIFY_FAILED" in error:
        return "Name your own certificate authority: install --ca FILE."
    if "asked to wait" in error or "answer 429" in error or "answer 503" in error:
        return "It is busy and asked to come back."
    return "Look at the network, the address and the proxy."


def _about_rejected(seen: Situation) -> list[str]:
    if not seen.set_aside:
        return []
    reports = "report was" if seen.set_aside == 1 else "reports were"
    return [_REJECTED.format(count=seen.set_aside, reports=reports)]


def moment_of(text: object) -> datetime | None:
    """Return the moment that a text tells; None when it tells none."""
    try:
        moment = datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return moment if moment.tzinfo else None
