"""Our definitions of Windows against mingw-w64's headers, compiled here."""

import ctypes
from pathlib import Path

import pytest

from fadewatch_agent.readers.windows import layout
from tests.windows.headers import COMPILERS, guid, has_compiler, numbers

OTHER_NAMES = {
    "COMPUTER_NAME_DNS_HOSTNAME": "ComputerNameDnsHostname",
    "RSMB": "'RSMB'",
    "BATTERY_INFORMATION_LEVEL": "BatteryInformation",
    "BATTERY_TEMPERATURE_LEVEL": "BatteryTemperature",
    "BATTERY_DEVICE_NAME_LEVEL": "BatteryDeviceName",
    "BATTERY_MANUFACTURE_DATE_LEVEL": "BatteryManufactureDate",
    "BATTERY_MANUFACTURE_NAME_LEVEL": "BatteryManufactureName",
    "BATTERY_SERIAL_NUMBER_LEVEL": "BatterySerialNumber",
    "BATTERY_UNKNOWN_RATE": "(long long)(LONG)BATTERY_UNKNOWN_RATE",
    "STORAGE_DEVICE_PROPERTY": "StorageDeviceProperty",
    "STORAGE_DEVICE_SEEK_PENALTY_PROPERTY": "StorageDeviceSeekPenaltyProperty",
    "BUS_1394": "BusType1394",
    "BUS_FIBRE": "BusTypeFibre",
    "BUS_USB": "BusTypeUsb",
    "BUS_ISCSI": "BusTypeiScsi",
    "BUS_SD": "BusTypeSd",
    "BUS_MMC": "BusTypeMmc",
    "BUS_VIRTUAL": "BusTypeVirtual",
    "BUS_FILE_BACKED_VIRTUAL": "BusTypeFileBackedVirtual",
    "BUS_SPACES": "BusTypeSpaces",
    "BUS_NVME": "BusTypeNvme",
    "DEVICE_PATH_OFFSET": "offsetof(SP_DEVICE_INTERFACE_DETAIL_DATA_W, DevicePath)",
}
"""What the headers call a value by another name than ours."""

OTHER_FIELDS = {"SystemStatusFlag": "Reserved1"}
"""Fields that mingw-w64 10 still calls by their older name."""

CONSTANTS = {
    name: value
    for name, value in vars(layout).items()
    if isinstance(value, int) and name.isupper()
}
STRUCTURES = {
    name: kind
    for name, kind in vars(layout).items()
    if isinstance(kind, type)
    and issubclass(kind, ctypes.Structure)
    and kind.__module__ == layout.__name__
    # No header has it; its fields stand in Microsoft Learn, GetSystemFirmwareTable.
    and name != "RawSMBIOSData"
}
WITH_POINTERS = {"SP_DEVICE_INTERFACE_DATA"}

processors = pytest.mark.parametrize(
    "processor",
    [
        pytest.param(
            name,
            marks=pytest.mark.skipif(
                not has_compiler(name), reason=f"no {COMPILERS[name]}-gcc here"
            ),
        )
        for name in COMPILERS
    ],
)


@processors
def test_every_value_is_that_of_the_headers(processor: str, tmp_path: Path) -> None:
    expressions = [OTHER_NAMES.get(name, name) for name in CONSTANTS]
    told = numbers(processor, expressions, tmp_path)

    ours = {name: value % 2**64 for name, value in CONSTANTS.items()}
    assert dict(zip(CONSTANTS, told, strict=True)) == ours
    assert len(ours) > 50


@processors
def test_every_structure_is_laid_out_as_in_the_headers(
    processor: str, tmp_path: Path
) -> None:
    ours: dict[str, int] = {}
    for name, kind in STRUCTURES.items():
        if processor == "i686" and name in WITH_POINTERS:
            continue
        ours[f"sizeof({name})"] = ctypes.sizeof(kind)
        for field, *_ in kind._fields_:
            place = getattr(kind, field)
            theirs = OTHER_FIELDS.get(field, field)
            ours[f"offsetof({name}, {theirs})"] = place.offset
            ours[f"sizeof((({name} *)0)->{theirs})"] = place.size

    told = numbers(processor, list(ours), tmp_path)

    assert dict(zip(ours, told, strict=True)) == ours
    assert len(ours) > 100


@processors
def test_the_size_of_a_device_path_follows_the_pointer(
    processor: str, tmp_path: Path
) -> None:
    expressions = ["sizeof(SP_DEVICE_INTERFACE_DETAIL_DATA_W)", "sizeof(void *)"]
    size, pointer = numbers(processor, expressions, tmp_path)

    assert layout.detail_size(pointer) == size


@processors
@pytest.mark.parametrize("name", ["GUID_DEVICE_BATTERY", "GUID_DEVINTERFACE_DISK"])
def test_every_guid_is_that_of_the_headers(
    processor: str, name: str, tmp_path: Path
) -> None:
    assert guid(processor, name, tmp_path) == getattr(layout, name)


def test_the_sizes_that_the_fact_sheet_of_the_headers_gave() -> None:
    # Compiled once with x86_64-w64-mingw32-gcc 12 (mingw-w64 10.0.0); kept here so that
    # a machine without that compiler checks something too.
    sizes = {name: ctypes.sizeof(kind) for name, kind in STRUCTURES.items()}

    assert sizes["BATTERY_QUERY_INFORMATION"] == 12
    assert sizes["BATTERY_INFORMATION"] == 36
    assert sizes["BATTERY_WAIT_STATUS"] == 20
    assert sizes["BATTERY_STATUS"] == 16
    assert sizes["BATTERY_MANUFACTURE_DATE"] == 4
    assert sizes["STORAGE_PROPERTY_QUERY"] == 12
    assert sizes["STORAGE_DEVICE_DESCRIPTOR"] == 40
    assert sizes["DEVICE_SEEK_PENALTY_DESCRIPTOR"] == 12
    assert layout.detail_size(8) == 8
    assert layout.detail_size(4) == 6
