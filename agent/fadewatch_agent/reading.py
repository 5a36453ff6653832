"""From the readers to one report that keeps every bound of the wire."""

import os
from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from fadewatch_agent.clock import Ticks
from fadewatch_agent.fitting import fitted
from fadewatch_agent.readers.files import clean
from fadewatch_agent.readers.machine import Machine
from fadewatch_agent.readers.portable_battery import with_portable_battery
from fadewatch_agent.readers.supplies import Identities, Pause, identity
from fadewatch_agent.system import system_name
from fadewatch_common import __version__
from fadewatch_common.report import (
    MAX_REMARKS,
    REMARK_LENGTH,
    Agent,
    Drive,
    Laptop,
    Memory,
    Pack,
    Report,
)
from fadewatch_common.report_id import RANDOM_BITS, make_report_id

_PLATFORM_LENGTH = 64


class Moment(NamedTuple):
    """When a reading is taken, and the random bits of its id."""

    at: datetime
    random_bits: int
    ticks: Ticks | None = None


class Reading(NamedTuple):
    """A report, and by slot what tells its packs apart, for the next reading."""

    report: Report
    identities: dict[str, str]


def take_reading(
    machine: Machine, moment: Moment, known: Identities | None, pause: Pause
) -> Reading:
    """Read everything once and put it into a report.

    Parameters
    ----------
    known
        What told the packs apart at the last report; None when there was none.
    pause
        Waits for a number of seconds; asked only when a pack is new in its slot.
    """
    found = machine.look(known, pause)
    packs, crosscheck = with_portable_battery(found.supplies.packs, found.tables)
    gathered = [
        *found.supplies.remarks,
        *crosscheck,
        *found.remarks,
        *found.memory.remarks,
        *found.drives.remarks,
    ]
    report = Report(
        report_id=make_report_id(int(moment.at.timestamp() * 1000), moment.random_bits),
        measured_at=moment.at,
        agent=this_agent(),
        laptop=_fit_laptop(found.laptop, gathered),
        packs=_fit_packs(packs, gathered),
        mains_online=found.supplies.mains_online,
        memory=_fit_memory(found.memory.memory, gathered),
        drives=_fit_drives(found.drives.drives, gathered),
        remarks=remarks_of(gathered),
    )
    return Reading(report, {pack.slot: identity(pack) for pack in found.supplies.packs})


def this_agent() -> Agent:
    """Say which agent measures, on which system."""
    shown = clean(system_name(), _PLATFORM_LENGTH) or "unnamed system"
    return Agent(version=__version__, platform=shown)


def random_bits() -> int:
    """Return fresh random bits for a report's id."""
    spare = -RANDOM_BITS % 8
    return int.from_bytes(os.urandom((RANDOM_BITS + spare) // 8)) >> spare


def remarks_of(sentences: Iterable[str]) -> tuple[str, ...]:
    """Cut remarks to what a report holds, and say how many did not fit."""
    cleaned = [c for s in sentences if (c := clean(s, REMARK_LENGTH))]
    if len(cleaned) <= MAX_REMARKS:
        return tuple(cleaned)
    kept = cleaned[: MAX_REMARKS - 1]
    return (*kept, f"{len(cleaned) - len(kept)} more remarks are left out")


def _fit_laptop(laptop: Laptop, gathered: list[str]) -> Laptop:
    kept, remarks = fitted(laptop, "laptop")
    gathered.extend(remarks)
    return kept or Laptop()


def _fit_packs(packs: tuple[Pack, ...], gathered: list[str]) -> tuple[Pack, ...]:
    outcomes = [fitted(pack, pack.slot) for pack in packs]
    gathered.extend(remark for _, remarks in outcomes for remark in remarks)
    return tuple(pack for pack, _ in outcomes if pack is not None)


def _fit_memory(memory: Memory | None, gathered: list[str]) -> Memory | None:
    if memory is None:
        return None
    kept, remarks = fitted(memory, "memory")
    gathered.extend(remarks)
    return kept


def _fit_drives(drives: tuple[Drive, ...], gathered: list[str]) -> tuple[Drive, ...]:
    outcomes = [fitted(drive, drive.name) for drive in drives]
    gathered.extend(remark for _, remarks in outcomes for remark in remarks)
    return tuple(drive for drive, _ in outcomes if drive is not None)
