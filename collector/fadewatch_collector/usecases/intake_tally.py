"""Tell in the log, once a minute, what was taken in."""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

log = logging.getLogger(__name__)

TOLD_EVERY = timedelta(minutes=1)
"""Own choice."""


@dataclass(frozen=True, slots=True)
class Commit:
    """One transaction of reports.

    Attributes
    ----------
    seconds
        From the first statement to the end of the commit.
    """

    requests: int
    reports: int
    new: int
    seconds: float


class Tally:
    """Sums commits up and tells of them with the first one after a minute."""

    def __init__(self) -> None:
        self._since: datetime | None = None
        self._commits: list[Commit] = []

    def note(self, commit: Commit, now: datetime) -> None:
        """Count a commit."""
        self._since = self._since or now
        self._commits.append(commit)
        if now - self._since >= TOLD_EVERY:
            self.tell()

    def tell(self) -> None:
        """Write the line, if there is anything to tell, and begin anew."""
        if self._commits:
            log.info(
                "%d reports taken in since %s, %d of them new, in %d commits; "
                "the slowest took %.0f ms",
                sum(commit.reports for commit in self._commits),
                f"{self._since:%H:%M:%S}",
                sum(commit.new for commit in self._commits),
                len(self._commits),
                1000 * max(commit.seconds for commit in self._commits),
            )
        self._since, self._commits = None, []
