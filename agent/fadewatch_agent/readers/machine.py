"""What the reading asks of an operating system, whichever it is."""

from typing import NamedTuple, Protocol

from fadewatch_agent.readers.drives import DrivesReading
from fadewatch_agent.readers.memory import MemoryReading
from fadewatch_agent.readers.smbios import Tables
from fadewatch_agent.readers.supplies import Identities, Look, Pause
from fadewatch_common.report import Laptop


class Findings(NamedTuple):
    """All that one system says of one laptop.

    Attributes
    ----------
    tables
        The firmware's tables; None where there are none to be had.
    remarks
        What of the laptop itself could not be read, and why.
    """

    laptop: Laptop
    supplies: Look
    memory: MemoryReading
    drives: DrivesReading
    tables: Tables | None = None
    remarks: tuple[str, ...] = ()


class Machine(Protocol):
    """A laptop as its operating system shows it."""

    def look(self, known: Identities | None, pause: Pause) -> Findings:
        """Read everything once.

        Parameters
        ----------
        known
            What told the packs apart at the last report; None when there was none.
        pause
            Waits for a number of seconds; asked only when a pack is new in its slot.
        """
