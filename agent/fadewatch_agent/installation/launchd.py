"""A job for launchd. Pure: what is wanted in, a property list out.

launchd has no random delay: the agent waits itself (``--spread``). A calendar time that
passes in sleep is made up for at the next waking (launchd.plist(5)).
"""

import plistlib
from collections.abc import Sequence
from pathlib import PurePosixPath

from fadewatch_agent.installation.plan import (
    SPREAD,
    PlannedFile,
    Schedule,
    delay_minutes,
    hours_and_minutes,
    step,
)

LABEL = "local.fadewatch.agent"
FILE = PurePosixPath("/Library/LaunchDaemons") / f"{LABEL}.plist"


def job(command: Sequence[str], minutes: int) -> bytes:
    """Return the property list of the job, in XML.

    Parameters
    ----------
    minutes
        Period [min].
    """
    delays = ("--spread", SPREAD, "--delay", f"{delay_minutes(minutes)}m")
    return plistlib.dumps(
        {
            "Label": LABEL,
            "ProgramArguments": [*command, "report", *delays],
            "StartCalendarInterval": _times(minutes),
            "RunAtLoad": True,
            "ProcessType": "Background",
            "LowPriorityIO": True,
            "Nice": 10,
            "Umask": 0o077,
            "StandardErrorPath": "/var/log/fadewatch-agent.log",
        }
    )


def schedule(command: Sequence[str], minutes: int) -> Schedule:
    """Return the job of an installation and what makes it count."""
    ended = step("launchctl", "bootout", f"system/{LABEL}", may_fail=True)
    return Schedule(
        files=(PlannedFile(FILE, job(command, minutes)),),
        before=(ended,),
        # Loading reads for the first time, since the job says RunAtLoad.
        start=(step("launchctl", "bootstrap", "system", str(FILE)),),
        stop=(ended,),
    )


def _times(minutes: int) -> list[dict[str, int]]:
    """Return the times of a day; an hour left out means every hour."""
    if minutes < 60:  # noqa: PLR2004  minutes of an hour
        return [{"Minute": minute} for minute in range(0, 60, minutes)]
    return [{"Hour": h, "Minute": m} for h, m in hours_and_minutes(minutes)]
