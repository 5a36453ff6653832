"""The SMBIOS decoder, and all that is made of its tables, fed with any bytes.

Whatever firmware says, a reading comes out whose bounds hold, which the collector
takes, and which prints as plain text.
"""

from fadewatch_agent.errors import DamagedTables
from fadewatch_agent.readers.drives import DrivesReading
from fadewatch_agent.readers.laptop import laptop_from
from fadewatch_agent.readers.machine import Findings
from fadewatch_agent.readers.memory import Total, memory_from
from fadewatch_agent.readers.portable_battery import portable_battery
from fadewatch_agent.readers.smbios import decode, version
from fadewatch_agent.readers.supplies import Identities, Look, Pause
from fadewatch_agent.readers.tables import firmware_from
from fadewatch_agent.reading import take_reading
from fadewatch_common.report import Laptop, Pack
from tests.fuzz.driver import run
from tests.fuzz.sound import MOMENT, assert_sound, no_pause

_PACK = Pack(slot="BAT0", unit="mWh", serial="00417", design_capacity=57_000)


class FirmwareAlone:
    """A laptop of which the tables say everything but the pack."""

    def __init__(self, data: bytes) -> None:
        self._data = data

    def look(self, known: Identities | None, pause: Pause) -> Findings:
        del known, pause
        entry_point, table = self._data[:32], self._data[32:]
        firmware = firmware_from(table, lambda: version(entry_point))
        return Findings(
            laptop=laptop_from(firmware, "tern-014") or Laptop(),
            supplies=Look((_PACK,), None, ()),
            memory=memory_from(firmware.tables, lambda: Total(0, "memory: none")),
            drives=DrivesReading(()),
            tables=firmware.tables,
            remarks=firmware.remarks,
        )


def check(data: bytes) -> None:
    """Make a reading of an entry point (32 bytes) and a table."""
    reading = take_reading(FirmwareAlone(data), MOMENT, {}, no_pause)
    assert_sound(reading.report)
    try:
        tables = decode(data)
    except DamagedTables as damage:
        words = str(damage)
        assert words.startswith("SMBIOS")
        return
    for structure in tables.structures:
        battery = portable_battery(structure)
        assert battery.design_capacity_mwh != 0
        assert battery.design_voltage_mv != 0


if __name__ == "__main__":
    run("smbios")
