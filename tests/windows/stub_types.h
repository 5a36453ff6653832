/* The few types of Windows that stub.c needs, where there are no Windows headers. */
#include <stddef.h>
#include <stdint.h>

#define WINAPI
typedef int32_t BOOL;
typedef uint32_t DWORD, ULONG, UINT;
typedef int32_t LONG;
typedef uint8_t UCHAR, BYTE;
typedef uint16_t WCHAR, USHORT;
typedef uint64_t ULONGLONG;
typedef int64_t LONGLONG;
typedef void *HANDLE, *HDEVINFO, *PVOID;
typedef struct { DWORD Data1; USHORT Data2, Data3; BYTE Data4[8]; } GUID;
typedef struct { DWORD cbSize; GUID InterfaceClassGuid; DWORD Flags; uintptr_t Reserved; }
    SP_DEVICE_INTERFACE_DATA;
typedef struct { DWORD cbSize; WCHAR DevicePath[1]; } SP_DEVICE_INTERFACE_DETAIL_DATA_W;
typedef struct { ULONG BatteryTag; ULONG InformationLevel; LONG AtRate; }
    BATTERY_QUERY_INFORMATION;
typedef struct {
    ULONG Capabilities; UCHAR Technology, Reserved[3], Chemistry[4];
    ULONG DesignedCapacity, FullChargedCapacity, DefaultAlert1, DefaultAlert2;
    ULONG CriticalBias, CycleCount;
} BATTERY_INFORMATION;
typedef struct { ULONG BatteryTag, Timeout, PowerState, LowCapacity, HighCapacity; }
    BATTERY_WAIT_STATUS;
typedef struct { ULONG PowerState, Capacity, Voltage; LONG Rate; } BATTERY_STATUS;
typedef struct { UCHAR Day, Month; USHORT Year; } BATTERY_MANUFACTURE_DATE;
typedef struct { DWORD PropertyId, QueryType; BYTE AdditionalParameters[1]; }
    STORAGE_PROPERTY_QUERY;
typedef struct {
    DWORD Version, Size; BYTE DeviceType, DeviceTypeModifier, RemovableMedia;
    BYTE CommandQueueing;
    DWORD VendorIdOffset, ProductIdOffset, ProductRevisionOffset, SerialNumberOffset;
    DWORD BusType, RawPropertiesLength; BYTE RawDeviceProperties[1];
} STORAGE_DEVICE_DESCRIPTOR;
typedef struct { DWORD DeviceType, DeviceNumber, PartitionNumber; } STORAGE_DEVICE_NUMBER;
typedef struct { BYTE Geometry[24]; struct { LONGLONG QuadPart; } DiskSize; BYTE Data[1]; }
    DISK_GEOMETRY_EX;
typedef struct {
    BYTE ACLineStatus, BatteryFlag, BatteryLifePercent, SystemStatusFlag;
    DWORD BatteryLifeTime, BatteryFullLifeTime;
} SYSTEM_POWER_STATUS;
typedef struct { DWORD dwLength, dwMemoryLoad; ULONGLONG ullTotalPhys, others[6]; }
    MEMORYSTATUSEX;

#define INVALID_HANDLE_VALUE ((HANDLE)(intptr_t)-1)
#define IOCTL_BATTERY_QUERY_TAG 0x294040
#define IOCTL_BATTERY_QUERY_INFORMATION 0x294044
#define IOCTL_BATTERY_QUERY_STATUS 0x29404C
#define IOCTL_STORAGE_QUERY_PROPERTY 0x2D1400
#define IOCTL_STORAGE_GET_DEVICE_NUMBER 0x2D1080
#define IOCTL_DISK_GET_DRIVE_GEOMETRY_EX 0x700A0
#define BATTERY_SYSTEM_BATTERY 0x80000000
#define GENERIC_READ 0x80000000
