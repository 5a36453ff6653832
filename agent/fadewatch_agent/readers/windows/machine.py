"""A laptop that runs Windows."""

from ctypes import sizeof

from fadewatch_agent.readers.files import clean
from fadewatch_agent.readers.laptop import HOSTNAME_LENGTH, laptop_from
from fadewatch_agent.readers.machine import Findings
from fadewatch_agent.readers.memory import USABLE_ALONE, Total, memory_from
from fadewatch_agent.readers.supplies import Identities, Pause
from fadewatch_agent.readers.tables import IN_TABLES, Firmware, firmware_from
from fadewatch_agent.readers.windows import layout
from fadewatch_agent.readers.windows.calls import CallFailed, Calls, OddReply, decoded
from fadewatch_agent.readers.windows.drives import read_drives
from fadewatch_agent.readers.windows.packs import read_packs
from fadewatch_common.report import Laptop

_KIB_IN_MIB = 1024
_BYTES_IN_MIB = 1024 * 1024


class WindowsMachine:
    """What the drivers, the firmware's tables and the system say."""

    __slots__ = ("_calls",)

    def __init__(self, calls: Calls) -> None:
        self._calls = calls

    def look(self, known: Identities | None, pause: Pause) -> Findings:
        """Read everything once."""
        supplies = read_packs(self._calls, known, pause)
        firmware = read_firmware(self._calls)
        hostname, remarks = _hostname(self._calls)
        return Findings(
            laptop=laptop_from(firmware, hostname) or Laptop(hostname=hostname),
            supplies=supplies,
            memory=memory_from(firmware.tables, lambda: total_memory(self._calls)),
            drives=read_drives(self._calls),
            tables=firmware.tables,
            remarks=(*firmware.remarks, *remarks),
        )


def read_firmware(calls: Calls) -> Firmware:
    """Read and decode the SMBIOS tables, which everyone may see on Windows."""
    try:
        raw = calls.firmware_table()
        header = decoded(layout.RawSMBIOSData, raw)
    except (CallFailed, OddReply) as error:
        return Firmware(None, remarks=(f"SMBIOS tables: {error}; {IN_TABLES}",))
    begin = sizeof(header)
    version = (int(header.SMBIOSMajorVersion), int(header.SMBIOSMinorVersion))
    table = raw[begin : begin + header.Length]
    return firmware_from(table, lambda: version if version[0] else None)


def total_memory(calls: Calls) -> Total:
    """Return the memory fitted, or at least what the system may use."""
    try:
        mib = calls.installed_memory_kib() // _KIB_IN_MIB
    except CallFailed:
        mib = 0
    if mib:
        return Total(mib)
    try:
        return Total(calls.usable_memory_bytes() // _BYTES_IN_MIB, USABLE_ALONE)
    except CallFailed as error:
        return Total(0, f"memory: {error}")


def _hostname(calls: Calls) -> tuple[str | None, tuple[str, ...]]:
    try:
        return clean(calls.computer_name(), HOSTNAME_LENGTH), ()
    except CallFailed as error:
        return None, (f"hostname: {error}",)
