"""A laptop that runs Linux, or a saved tree of one."""

from fadewatch_agent.readers.drives import read_drives
from fadewatch_agent.readers.files import SystemFiles
from fadewatch_agent.readers.laptop import read_laptop
from fadewatch_agent.readers.machine import Findings
from fadewatch_agent.readers.memory import read_memory
from fadewatch_agent.readers.power_supply import read_supplies
from fadewatch_agent.readers.supplies import Identities, Pause
from fadewatch_agent.readers.tables import read_firmware


class LinuxMachine:
    """What /sys and /proc say."""

    __slots__ = ("_files",)

    def __init__(self, files: SystemFiles) -> None:
        self._files = files

    def look(self, known: Identities | None, pause: Pause) -> Findings:
        """Read everything once."""
        supplies = read_supplies(self._files, known, pause)
        firmware = read_firmware(self._files)
        return Findings(
            laptop=read_laptop(self._files, firmware),
            supplies=supplies,
            memory=read_memory(self._files, firmware.tables),
            drives=read_drives(self._files),
            tables=firmware.tables,
            remarks=firmware.remarks,
        )
