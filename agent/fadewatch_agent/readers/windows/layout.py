"""Structures, control codes and values of Windows that the readers use.

Every name is that of the Windows headers. A test compiles sizes, offsets and values
from mingw-w64's headers and compares them with what stands here. Widths are fixed, so
that a structure is the same wherever it is built; only pointers differ.

References
----------
poclass.h (batteries), ntddstor.h and winioctl.h (storage), setupapi.h, winbase.h,
sysinfoapi.h of the Windows SDK; Microsoft Learn, "Enumerating Battery Devices",
"BATTERY_INFORMATION", "GetSystemFirmwareTable".
"""

from ctypes import (
    LittleEndianStructure,
    Structure,
    c_char,
    c_int32,
    c_int64,
    c_uint8,
    c_uint16,
    c_uint32,
    c_uint64,
    c_void_p,
    sizeof,
)

GUID_DEVICE_BATTERY = bytes.fromhex("541e6372a478d011bcf700aa00b7b32a")
"""{72631E54-78A4-11D0-BCF7-00AA00B7B32A}, in memory order."""
GUID_DEVINTERFACE_DISK = bytes.fromhex("0763f553bfb6d01194f200a0c91efb8b")
"""{53F56307-B6BF-11D0-94F2-00A0C91EFB8B}, in memory order."""

IOCTL_BATTERY_QUERY_TAG = 0x0029_4040
IOCTL_BATTERY_QUERY_INFORMATION = 0x0029_4044
IOCTL_BATTERY_QUERY_STATUS = 0x0029_404C
IOCTL_STORAGE_QUERY_PROPERTY = 0x002D_1400
IOCTL_STORAGE_GET_DEVICE_NUMBER = 0x002D_1080
IOCTL_DISK_GET_DRIVE_GEOMETRY_EX = 0x0007_00A0

ERROR_INVALID_FUNCTION = 1
ERROR_FILE_NOT_FOUND = 2
ERROR_ACCESS_DENIED = 5
ERROR_NOT_READY = 21
ERROR_GEN_FAILURE = 31
ERROR_NOT_SUPPORTED = 50
ERROR_INVALID_PARAMETER = 87
ERROR_INSUFFICIENT_BUFFER = 122
ERROR_MORE_DATA = 234
ERROR_NO_MORE_ITEMS = 259
ERROR_IO_DEVICE = 1117
ERROR_DEVICE_NOT_CONNECTED = 1167
ERROR_NOT_FOUND = 1168

DIGCF_PRESENT = 0x02
DIGCF_DEVICEINTERFACE = 0x10
GENERIC_READ = 0x8000_0000
FILE_SHARE_READ = 0x1
FILE_SHARE_WRITE = 0x2
OPEN_EXISTING = 3
RSMB = 0x5253_4D42
"""'RSMB', the raw SMBIOS provider of GetSystemFirmwareTable."""
COMPUTER_NAME_DNS_HOSTNAME = 1

BATTERY_SYSTEM_BATTERY = 0x8000_0000
BATTERY_CAPACITY_RELATIVE = 0x4000_0000
BATTERY_IS_SHORT_TERM = 0x2000_0000

BATTERY_INFORMATION_LEVEL = 0
BATTERY_TEMPERATURE_LEVEL = 2
BATTERY_DEVICE_NAME_LEVEL = 4
BATTERY_MANUFACTURE_DATE_LEVEL = 5
BATTERY_MANUFACTURE_NAME_LEVEL = 6
BATTERY_SERIAL_NUMBER_LEVEL = 8
"""Values of BATTERY_QUERY_INFORMATION_LEVEL."""

MAX_BATTERY_STRING_SIZE = 128

BATTERY_POWER_ON_LINE = 0x1
BATTERY_DISCHARGING = 0x2
BATTERY_CHARGING = 0x4

BATTERY_UNKNOWN_CAPACITY = 0xFFFF_FFFF
BATTERY_UNKNOWN_VOLTAGE = 0xFFFF_FFFF
BATTERY_UNKNOWN_RATE = -0x8000_0000
"""0x80000000, read as a signed number."""

STORAGE_DEVICE_PROPERTY = 0
STORAGE_DEVICE_SEEK_PENALTY_PROPERTY = 7
"""Values of STORAGE_PROPERTY_ID."""

BUS_USB = 7
BUS_SD = 12
BUS_MMC = 13
BUS_VIRTUAL = 14
BUS_FILE_BACKED_VIRTUAL = 15
BUS_SPACES = 16
BUS_NVME = 17
BUS_ISCSI = 9
BUS_1394 = 4
BUS_FIBRE = 6
"""Values of STORAGE_BUS_TYPE."""

AC_LINE_OFFLINE = 0
AC_LINE_ONLINE = 1


class BATTERY_QUERY_INFORMATION(LittleEndianStructure):  # noqa: N801  a name of Windows
    """What is asked of one battery, named by its tag."""

    _fields_ = (
        ("BatteryTag", c_uint32),
        ("InformationLevel", c_uint32),
        ("AtRate", c_int32),
    )


class BATTERY_INFORMATION(LittleEndianStructure):  # noqa: N801
    """What lasts of a battery."""

    _fields_ = (
        ("Capabilities", c_uint32),
        ("Technology", c_uint8),
        ("Reserved", c_uint8 * 3),
        ("Chemistry", c_uint8 * 4),
        ("DesignedCapacity", c_uint32),
        ("FullChargedCapacity", c_uint32),
        ("DefaultAlert1", c_uint32),
        ("DefaultAlert2", c_uint32),
        ("CriticalBias", c_uint32),
        ("CycleCount", c_uint32),
    )


class BATTERY_WAIT_STATUS(LittleEndianStructure):  # noqa: N801
    """When the status is to be given: with a timeout of 0, at once."""

    _fields_ = (
        ("BatteryTag", c_uint32),
        ("Timeout", c_uint32),
        ("PowerState", c_uint32),
        ("LowCapacity", c_uint32),
        ("HighCapacity", c_uint32),
    )


class BATTERY_STATUS(LittleEndianStructure):  # noqa: N801
    """What a battery does now."""

    _fields_ = (
        ("PowerState", c_uint32),
        ("Capacity", c_uint32),
        ("Voltage", c_uint32),
        ("Rate", c_int32),
    )


class BATTERY_MANUFACTURE_DATE(LittleEndianStructure):  # noqa: N801
    """When it was made, with the full year."""

    _fields_ = (("Day", c_uint8), ("Month", c_uint8), ("Year", c_uint16))


class STORAGE_PROPERTY_QUERY(LittleEndianStructure):  # noqa: N801
    """Which property of a drive is asked for."""

    _fields_ = (
        ("PropertyId", c_uint32),
        ("QueryType", c_uint32),
        ("AdditionalParameters", c_uint8 * 1),
    )


class STORAGE_DEVICE_DESCRIPTOR(LittleEndianStructure):  # noqa: N801
    """A drive; offsets lead to texts behind it, 0 where there is none."""

    _fields_ = (
        ("Version", c_uint32),
        ("Size", c_uint32),
        ("DeviceType", c_uint8),
        ("DeviceTypeModifier", c_uint8),
        ("RemovableMedia", c_uint8),
        ("CommandQueueing", c_uint8),
        ("VendorIdOffset", c_uint32),
        ("ProductIdOffset", c_uint32),
        ("ProductRevisionOffset", c_uint32),
        ("SerialNumberOffset", c_uint32),
        ("BusType", c_uint32),
        ("RawPropertiesLength", c_uint32),
        ("RawDeviceProperties", c_uint8 * 1),
    )


class DEVICE_SEEK_PENALTY_DESCRIPTOR(LittleEndianStructure):  # noqa: N801
    """Whether reading here and there costs time, as where platters spin."""

    _fields_ = (
        ("Version", c_uint32),
        ("Size", c_uint32),
        ("IncursSeekPenalty", c_uint8),
    )


class STORAGE_DEVICE_NUMBER(LittleEndianStructure):  # noqa: N801
    """The number that Windows gave a drive."""

    _fields_ = (
        ("DeviceType", c_uint32),
        ("DeviceNumber", c_uint32),
        ("PartitionNumber", c_uint32),
    )


class DISK_GEOMETRY_EX(LittleEndianStructure):  # noqa: N801
    """The size of a drive; DISK_GEOMETRY itself is not needed."""

    _fields_ = (
        ("Geometry", c_uint8 * 24),
        ("DiskSize", c_int64),
        ("Data", c_uint8 * 1),
    )


class RawSMBIOSData(LittleEndianStructure):
    """What stands before the SMBIOS structures (not in any header)."""

    _fields_ = (
        ("Used20CallingMethod", c_uint8),
        ("SMBIOSMajorVersion", c_uint8),
        ("SMBIOSMinorVersion", c_uint8),
        ("DmiRevision", c_uint8),
        ("Length", c_uint32),
    )


class SYSTEM_POWER_STATUS(LittleEndianStructure):  # noqa: N801
    """What feeds the laptop."""

    _fields_ = (
        ("ACLineStatus", c_uint8),
        ("BatteryFlag", c_uint8),
        ("BatteryLifePercent", c_uint8),
        ("SystemStatusFlag", c_uint8),
        ("BatteryLifeTime", c_uint32),
        ("BatteryFullLifeTime", c_uint32),
    )


class MEMORYSTATUSEX(LittleEndianStructure):
    """How much memory the system may use."""

    _fields_ = (
        ("dwLength", c_uint32),
        ("dwMemoryLoad", c_uint32),
        ("ullTotalPhys", c_uint64),
        ("ullAvailPhys", c_uint64),
        ("ullTotalPageFile", c_uint64),
        ("ullAvailPageFile", c_uint64),
        ("ullTotalVirtual", c_uint64),
        ("ullAvailVirtual", c_uint64),
        ("ullAvailExtendedVirtual", c_uint64),
    )


class SP_DEVICE_INTERFACE_DATA(Structure):  # noqa: N801
    """One interface of a device, as SetupAPI hands it on."""

    _fields_ = (
        ("cbSize", c_uint32),
        ("InterfaceClassGuid", c_char * 16),
        ("Flags", c_uint32),
        ("Reserved", c_void_p),
    )


DEVICE_PATH_OFFSET = 4
"""Where the path stands in SP_DEVICE_INTERFACE_DETAIL_DATA_W [bytes]."""


def detail_size(pointer: int = sizeof(c_void_p)) -> int:
    """Return the cbSize of SP_DEVICE_INTERFACE_DETAIL_DATA_W.

    The size of the fixed part, not of the buffer: a DWORD and one wide character,
    padded to 8 bytes where pointers have 8 bytes and packed to 6 where they have 4.

    Parameters
    ----------
    pointer
        Size of a pointer [bytes].
    """
    return 8 if pointer == 8 else 6  # noqa: PLR2004
