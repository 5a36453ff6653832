"""Write a group of reports in one transaction, with one statement for each table.

This is the write that 'stored' promises, and the one that a collector does most, so it
goes to the driver itself: SQLAlchemy would take longer to pass the values on than the
database takes to write them. Everything else goes through SQLAlchemy.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, Self


@dataclass(frozen=True, slots=True)
class NewReport:
    """A report to be written.

    Attributes
    ----------
    key_id
        The key it came with, which must still be valid; None when nobody has to show
        one.
    """

    report_id: str
    laptop_id: int
    key_id: int | None
    measured_at: datetime
    body: str


@dataclass(frozen=True, slots=True)
class Written:
    """What became of a group.

    Attributes
    ----------
    new
        Ids of the reports that were not there before.
    keys
        The keys that are valid, each with whether its renewal was asked for.
    """

    new: set[str]
    keys: Mapping[int, bool]


class ReportWriter(Protocol):
    """Writes groups of reports, one after the other; used as a context."""

    async def write(
        self, group: Sequence[NewReport], keys: Collection[int], now: datetime
    ) -> Written:
        """Write what is new of a group and came with a valid key; durable on return.

        A key that was revoked before this began, by whichever collector, stores
        nothing.

        Parameters
        ----------
        keys
            Every key to be checked, also of requests without a report.

        Raises
        ------
        StoreTrouble
            The database cannot work now; nothing of the group was written, or all of
            it.
        """
        ...

    async def __aenter__(self) -> Self:
        """Get ready; nothing is connected before the first group."""
        ...

    async def __aexit__(self, *_why: object) -> None:
        """Let go of the connection."""
        ...
