"""A laptop that runs macOS."""

import os

from fadewatch_agent.readers.files import clean
from fadewatch_agent.readers.laptop import HOSTNAME_LENGTH
from fadewatch_agent.readers.machine import Findings
from fadewatch_agent.readers.macos.drives import read_drives
from fadewatch_agent.readers.macos.entry import text
from fadewatch_agent.readers.macos.packs import read_packs
from fadewatch_agent.readers.macos.programs import (
    ProgramFailed,
    Run,
    registry,
    setting,
)
from fadewatch_agent.readers.memory import MemoryReading
from fadewatch_agent.readers.supplies import Identities, Pause
from fadewatch_common.report import Laptop, Memory

_BYTES_IN_MIB = 1024 * 1024
_LONGEST_NUMBER = 20
_UUID_LENGTH = 36


class MacMachine:
    """What the registry and the kernel say."""

    __slots__ = ("_hostname", "_run")

    def __init__(self, run: Run, hostname: str) -> None:
        self._run = run
        self._hostname = hostname

    def look(self, known: Identities | None, pause: Pause) -> Findings:
        """Read everything once."""
        supplies = read_packs(self._run, known, pause)
        laptop, remarks = read_laptop(self._run, self._hostname)
        return Findings(
            laptop=laptop,
            supplies=supplies,
            memory=read_memory(self._run),
            drives=read_drives(self._run),
            remarks=remarks,
        )


def own_hostname() -> str:
    """Return the name of this machine; empty where the system has none to ask."""
    uname = getattr(os, "uname", None)
    return str(uname().nodename) if uname else ""


def read_laptop(run: Run, hostname: str) -> tuple[Laptop, tuple[str, ...]]:
    """Read the laptop's own data from the root of the registry's devices."""
    name = clean(hostname, HOSTNAME_LENGTH)
    try:
        entries = registry(run, "IOPlatformExpertDevice", "-d", "1")
    except ProgramFailed as error:
        return Laptop(hostname=name), (f"laptop: {error}",)
    told = entries[0] if entries else {}
    uuid = text(told, "IOPlatformUUID", _UUID_LENGTH)
    return (
        Laptop(
            hostname=name,
            maker=text(told, "manufacturer"),
            model=text(told, "model"),
            serial=text(told, "IOPlatformSerialNumber"),
            board_uuid=None if uuid is None else uuid.lower(),
        ),
        (),
    )


def read_memory(run: Run) -> MemoryReading:
    """Read the total; macOS tells slots to nobody in a form that lasts."""
    try:
        told = setting(run, "hw.memsize")
    except ProgramFailed as error:
        return MemoryReading(None, (f"memory: {error}",))
    mib = 0
    if told.isdigit() and len(told) <= _LONGEST_NUMBER:
        mib = int(told) // _BYTES_IN_MIB
    if not mib:
        return MemoryReading(None, ("memory: the kernel names no total",))
    return MemoryReading(Memory(total_mib=mib))
