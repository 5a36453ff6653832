"""A macOS laptop's programs, with property lists built after the key names of its
published headers. None of them was recorded on a real laptop.
"""

import plistlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from fadewatch_agent.readers.macos.programs import ProgramFailed

Entries = list[dict[str, Any]]

PERCENT_GENERATION: dict[str, Any] = {
    "IORegistryEntryName": "AppleSmartBattery",
    "BatteryInstalled": True,
    "ExternalConnected": False,
    "IsCharging": False,
    "FullyCharged": False,
    "DesignCapacity": 4629,
    "MaxCapacity": 100,
    "CurrentCapacity": 84,
    "AppleRawMaxCapacity": 3982,
    "AppleRawCurrentCapacity": 3344,
    "NominalChargeCapacity": 4101,
    "CycleCount": 212,
    "DesignCycleCount9C": 1000,
    "Serial": "QM5700417A",
    "DeviceName": "qm57a",
    "Voltage": 11_873,
    "Amperage": 2**64 - 812,
    "Temperature": 3035,
    "ManufactureDate": 55_405_918_040_117,
    "PermanentFailureStatus": 0,
    "BatteryData": {"CycleCount": 212, "DesignCapacity": 4629, "StateOfCharge": 84},
}
"""A pack whose MaxCapacity is 100, as on newer processors; wear is 14.0 %."""

CHARGE_GENERATION: dict[str, Any] = {
    "IORegistryEntryName": "AppleSmartBattery",
    "BatteryInstalled": True,
    "ExternalConnected": True,
    "IsCharging": True,
    "FullyCharged": False,
    "DesignCapacity": 5088,
    "MaxCapacity": 4376,
    "CurrentCapacity": 3000,
    "AppleRawMaxCapacity": 4376,
    "AppleRawCurrentCapacity": 3000,
    "CycleCount": 345,
    "BatterySerialNumber": "QM5600900B",
    "FirmwareSerialNumber": 4711,
    "Manufacturer": "Quellmar",
    "DeviceName": "qm56b",
    "ManufactureDate": 22_127,
    "MaxErr": 1,
    "Voltage": 12_604,
    "Amperage": 1900,
}
"""A pack whose MaxCapacity is in mAh, as on older processors; wear is 14.0 %."""

PLATFORM: dict[str, Any] = {
    "IOPlatformSerialNumber": "TH4X9Q7K",
    "IOPlatformUUID": "00112233-4455-6677-8899-AABBCCDDEEFF",
    "manufacturer": b"Tarnholm\0",
    "model": b"Ridgeway15,2\0",
}


def medium(**changed: Any) -> dict[str, Any]:
    """Return a whole medium with a partition below it."""
    whole: dict[str, Any] = {
        "IOObjectClass": "IOMedia",
        "BSD Name": "disk0",
        "Size": 500_277_790_720,
        "Whole": True,
        "Removable": False,
        "IORegistryEntryChildren": [
            {"IOObjectClass": "IOMedia", "BSD Name": "disk0s1", "Whole": False}
        ],
    }
    return whole | changed


def device(
    location: str = "Internal",
    interconnect: str = "Apple Fabric",
    media: Entries | None = None,
    **characteristics: Any,
) -> dict[str, Any]:
    """Return a block storage device with a driver and its medium below it."""
    told = {
        "Product Name": "Larkspur N512",
        "Serial Number": "  LK0042 ",
        "Medium Type": "Solid State",
    }
    driver = {
        "IOObjectClass": "IOBlockStorageDriver",
        "IORegistryEntryChildren": [medium()] if media is None else media,
    }
    return {
        "IOObjectClass": "IONVMeBlockStorageDevice",
        "Device Characteristics": told | characteristics,
        "Protocol Characteristics": {
            "Physical Interconnect": interconnect,
            "Physical Interconnect Location": location,
        },
        "IORegistryEntryChildren": [driver],
    }


@dataclass
class FakeMac:
    """Prints what it is told; a text in place of entries is printed as it is."""

    packs: Entries | bytes = field(default_factory=lambda: [dict(PERCENT_GENERATION)])
    platform: Entries | bytes = field(default_factory=lambda: [dict(PLATFORM)])
    drives: Entries | bytes = field(default_factory=lambda: [device()])
    memory: bytes = b"17179869184\n"
    failing: tuple[str, ...] = ()
    asked: list[tuple[str, ...]] = field(default_factory=list)

    def __call__(self, words: Sequence[str]) -> bytes:
        self.asked.append(tuple(words))
        if self.failing and set(self.failing) & set(words):
            raise ProgramFailed(words, "it ended with 1")
        if words[0] == "/usr/sbin/sysctl":
            assert tuple(words[1:]) == ("-n", "hw.memsize")
            return self.memory
        assert tuple(words[:4]) == ("/usr/sbin/ioreg", "-a", "-r", "-c")
        kind = words[4]
        return printed(
            {
                "AppleSmartBattery": self.packs,
                "IOPlatformExpertDevice": self.platform,
                "IOBlockStorageDevice": self.drives,
            }[kind]
        )


def printed(entries: Entries | bytes) -> bytes:
    """Return what ioreg prints: nothing at all where nothing matches."""
    if isinstance(entries, bytes):
        return entries
    return plistlib.dumps(entries) if entries else b""
