"""The agent's calls of Windows, made of the stub library; run here and on Wine."""

from collections.abc import Callable
from typing import Any

from fadewatch_agent.readers.supplies import Look
from fadewatch_agent.readers.windows import drives, machine, packs
from fadewatch_agent.readers.windows.system_calls import Libraries, SystemCalls


class Prefixed:
    """A library whose names begin with Stub_."""

    def __init__(self, library: Any) -> None:
        self._library = library

    def __getattr__(self, name: str) -> Any:
        return getattr(self._library, f"Stub_{name}")


def calls(library: Any, last_error: Callable[[], int]) -> SystemCalls:
    """Return the calls through a loaded stub."""
    named = Prefixed(library)
    return SystemCalls(Libraries(named, named, last_error))


def told(library: Any, last_error: Callable[[], int]) -> dict[str, Any]:
    """Read the stub's laptop once and return what the tests look at."""
    library.Stub_Reset()
    through = calls(library, last_error)
    look: Look = packs.read_packs(through, None, lambda _: None)
    found = drives.read_drives(through)
    firmware = machine.read_firmware(through)
    total = machine.total_memory(through)
    return {
        "packs": [
            {
                "slot": pack.slot,
                "model": pack.model,
                "maker": pack.maker,
                "serial": pack.serial,
                "made_on": str(pack.made_on),
                "chemistry": pack.chemistry,
                "design": pack.design_capacity,
                "full": pack.full_charge_capacity,
                "remaining": pack.remaining_capacity,
                "cycles": pack.cycle_count,
                "voltage_mv": pack.voltage_mv,
                "temperature_c": pack.temperature_c,
                "state": pack.state,
            }
            for pack in look.packs
        ],
        "mains_online": look.mains_online,
        "remarks": [*look.remarks, *found.remarks, *firmware.remarks],
        "drives": [[d.name, d.model, d.serial, d.size_bytes] for d in found.drives],
        "smbios": list(firmware.smbios or ()),
        "structures": [s.kind for s in firmware.tables.structures]
        if firmware.tables
        else [],
        "memory_mib": total.mib,
        "name": through.computer_name(),
        "left_open": library.Stub_Open(),
    }


EXPECTED = {
    "packs": [
        {
            "slot": "ACPI\\PNP0C0A\\0",
            "model": "QM57-3S",
            "maker": None,
            "serial": "0" * 128,
            "made_on": "2023-03-15",
            "chemistry": "Li-ion",
            "design": 57_000,
            "full": 49_020,
            "remaining": 41_200,
            "cycles": 212,
            "voltage_mv": 11_873,
            "temperature_c": 30.35,
            "state": "held",
        },
        {
            "slot": "ACPI\\PNP0C0A\\3",
            "model": "QM57-3S",
            "maker": None,
            "serial": "33333333",
            "made_on": "2023-03-15",
            "chemistry": "Li-ion",
            "design": 57_000,
            "full": 56_000,
            "remaining": 41_200,
            "cycles": 212,
            "voltage_mv": 11_873,
            "temperature_c": 30.35,
            "state": "held",
        },
    ],
    "mains_online": True,
    "remarks": [
        "packs: SetupDiGetDeviceInterfaceDetailW: the driver has no such thing (error 1168)",
        "ACPI\\PNP0C0A\\2: CreateFileW: access is denied (error 5)",
    ],
    "drives": [["PhysicalDrive0", "Larkspur N512", "LK0042", 512_110_190_592]],
    "smbios": [3, 4],
    "structures": [1],
    "memory_mib": 15_258,
    "name": "r" * 80,
    "left_open": 0,
}
"""What the stub's laptop is, as stub.c has it."""
