"""What ``status`` tells: enrolled or not, last delivery, queue, last error."""

import sqlite3
import sys
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from fadewatch_agent.advice import Situation, advice
from fadewatch_agent.configuration import Settings
from fadewatch_agent.enrolment import kept_enrolment
from fadewatch_agent.errors import UnusableSpool
from fadewatch_agent.reporting import SPOOL_FILE
from fadewatch_agent.spool import Spool
from fadewatch_agent.state import STATE_FILE, read_record

_SHOWN = 5
"""Reports set aside that are shown one by one."""


class Standing(NamedTuple):
    """How this agent stands with its collector. Never the key."""

    collector: str | None
    enrolled: bool
    laptop_id: int | None
    delivered_at: str | None
    queued: int
    set_aside: int
    problems: tuple[str, ...]
    error: str | None
    error_at: str | None
    refused: bool
    retry_at: str | None
    ran_at: str | None
    advice: tuple[str, ...]


def standing(settings: Settings, now: datetime) -> Standing:
    """Look at the state folder without changing anything.

    Raises
    ------
    UnusableSpool
        The queue's file cannot be read; if it is damaged, the next ``report`` begins
        a new one.
    OSError
        The folder may not be read.
    """
    enrolment = kept_enrolment(settings.state)
    last: dict[str, Any] = read_record(settings.state / STATE_FILE)
    queued, problems = _queue(settings)
    here = enrolment is not None and enrolment.collector == settings.collector
    situation = Situation(
        collector=settings.collector,
        enrolled=here,
        queued=queued,
        set_aside=len(problems),
        last=last,
        every=timedelta(minutes=settings.every_minutes),
        now=now,
        platform=sys.platform,
    )
    return Standing(
        collector=settings.collector,
        enrolled=here,
        laptop_id=enrolment.laptop_id if enrolment is not None and here else None,
        delivered_at=last.get("delivered_at"),
        queued=queued,
        set_aside=len(problems),
        problems=tuple(problems[:_SHOWN]),
        error=last.get("error"),
        error_at=last.get("error_at") if last.get("error") else None,
        refused=last.get("refused") is True,
        retry_at=last.get("retry_at"),
        ran_at=last.get("ran_at"),
        advice=advice(situation),
    )


def standing_text(now: Standing) -> str:
    """Write the standing as lines of a name and a value."""
    aside = f"{now.set_aside} rejected by the collector" if now.set_aside else "none"
    rows = [
        ("collector", now.collector or "not set"),
        ("enrolled", f"yes, as laptop {now.laptop_id}" if now.enrolled else "no"),
        ("last run", now.ran_at or "never"),
        ("last delivery", now.delivered_at or "never"),
        ("reports waiting", str(now.queued)),
        ("reports set aside", aside),
        *(("", problem) for problem in now.problems),
        ("last error", f"{now.error} ({now.error_at})" if now.error else "none"),
    ]
    if now.retry_at:
        rows.append(("next attempt", f"not before {now.retry_at}"))
    told = "".join(f"{sentence}\n" for sentence in now.advice)
    return told + "\n" + "".join(f"{name:<19}{value}\n" for name, value in rows)


def _queue(settings: Settings) -> tuple[int, list[str]]:
    path = settings.state / SPOOL_FILE
    if not path.exists():
        return 0, []
    try:
        with Spool(path, settings.queue_limit) as spool:
            aside = [f"{s.report_id}: {s.problem}" for s in spool.set_aside()]
            return spool.depth(), aside
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise UnusableSpool(path, error) from error
