/* A laptop behind the calls that the agent makes of Windows.
 *
 * Built twice from one source: with mingw-w64's own headers as a DLL, so that the
 * compiler's layouts and calling conventions meet the agent's, and as a shared library
 * of this machine. What a call must be given is checked here, and a call that is given
 * anything else fails.
 *
 * Ports: 0 a pack with a long serial, 1 empty, 2 may not be opened, 3 a pack that is
 * exchanged while it is read, 4 gives no path. One drive. Names and tables need more
 * room than the first call has.
 */
#ifdef _WIN32
#include <windows.h>
#include <winioctl.h>
#include <setupapi.h>
#include <poclass.h>
#define EXPORT __declspec(dllexport)
#define set_error SetLastError
#else
#include "stub_types.h"
#define EXPORT
static DWORD last_error;
static void set_error(DWORD code) { last_error = code; }
EXPORT DWORD Stub_GetLastError(void) { return last_error; }
#endif
#include <string.h>

#define PORTS 5
static const GUID battery_guid = {
    0x72631e54, 0x78a4, 0x11d0, {0xbc, 0xf7, 0x00, 0xaa, 0x00, 0xb7, 0xb3, 0x2a}};
static const GUID disk_guid = {
    0x53f56307, 0xb6bf, 0x11d0, {0x94, 0xf2, 0x00, 0xa0, 0xc9, 0x1e, 0xfb, 0x8b}};
static const char battery_path[] =
    "\\\\?\\acpi#pnp0c0a#0#{72631e54-78a4-11d0-bcf7-00aa00b7b32a}";
static const char disk_path[] =
    "\\\\?\\scsi#disk#0#{53f56307-b6bf-11d0-94f2-00a0c91efb8b}";
enum { BATTERY_DIGIT = 17, LONG_SERIAL = 150, NAME = 80, DISK = 100 };
static char battery_listing, disk_listing, handles[DISK + 1];
static int listings_open, handles_open, tag_of_3 = 8;

EXPORT int Stub_Open(void) { return 1000 * listings_open + handles_open; }
EXPORT void Stub_Reset(void) { listings_open = handles_open = 0; tag_of_3 = 8; }

static BOOL fail(DWORD code) { set_error(code); return 0; }

static void put_wide(void *target, const char *text) {
    unsigned char *at = target;
    size_t length = strlen(text) + 1;
    for (size_t i = 0; i < length; i++) {
        at[2 * i] = (unsigned char)text[i];
        at[2 * i + 1] = 0;
    }
}

EXPORT HDEVINFO WINAPI Stub_SetupDiGetClassDevsW(
    const GUID *kind, const WCHAR *name, HANDLE window, DWORD flags) {
    if (name || window || flags != 0x12) { set_error(87); return INVALID_HANDLE_VALUE; }
    if (!memcmp(kind, &battery_guid, 16)) { listings_open++; return &battery_listing; }
    if (!memcmp(kind, &disk_guid, 16)) { listings_open++; return &disk_listing; }
    set_error(13);
    return INVALID_HANDLE_VALUE;
}

EXPORT BOOL WINAPI Stub_SetupDiEnumDeviceInterfaces(
    HDEVINFO listing, void *device, const GUID *kind, DWORD index,
    SP_DEVICE_INTERFACE_DATA *data) {
    DWORD count = listing == &battery_listing ? PORTS : 1;
    if (device || data->cbSize != sizeof *data) return fail(1784);
    if (index >= count) return fail(259);
    data->InterfaceClassGuid = *kind;
    data->Flags = 1;
    data->Reserved = index + 1;
    return 1;
}

EXPORT BOOL WINAPI Stub_SetupDiGetDeviceInterfaceDetailW(
    HDEVINFO listing, SP_DEVICE_INTERFACE_DATA *data,
    SP_DEVICE_INTERFACE_DETAIL_DATA_W *detail, DWORD size, DWORD *needed, void *device) {
    char path[sizeof battery_path];
    DWORD whole;
    strcpy(path, listing == &battery_listing ? battery_path : disk_path);
    if (listing == &battery_listing) path[BATTERY_DIGIT] += (char)(data->Reserved - 1);
    whole = (DWORD)(offsetof(SP_DEVICE_INTERFACE_DETAIL_DATA_W, DevicePath)
        + 2 * (strlen(path) + 1));
    if (device) return fail(87);
    if (data->Reserved == 5) return fail(1168);
    if (needed) *needed = whole;
    if (size < whole) return fail(122);
    if (detail->cbSize != sizeof *detail) return fail(1784);
    put_wide(detail->DevicePath, path);
    return 1;
}

EXPORT BOOL WINAPI Stub_SetupDiDestroyDeviceInfoList(HDEVINFO listing) {
    if (listing != &battery_listing && listing != &disk_listing) return fail(6);
    listings_open--;
    return 1;
}

EXPORT HANDLE WINAPI Stub_CreateFileW(
    const WCHAR *path, DWORD access, DWORD share, void *security, DWORD disposition,
    DWORD flags, HANDLE template) {
    unsigned char wanted[2 * sizeof battery_path];
    int is_disk;
    put_wide(wanted, disk_path);
    is_disk = !memcmp(path, wanted, 2 * sizeof disk_path);
    if (share != 3 || security || disposition != 3 || flags || template
        || access != (is_disk ? 0 : GENERIC_READ)) {
        set_error(87);
        return INVALID_HANDLE_VALUE;
    }
    put_wide(wanted, battery_path);
    wanted[2 * BATTERY_DIGIT] = ((const unsigned char *)path)[2 * BATTERY_DIGIT];
    if (!is_disk && memcmp(path, wanted, sizeof wanted)) {
        set_error(2);
        return INVALID_HANDLE_VALUE;
    }
    if (!is_disk && wanted[2 * BATTERY_DIGIT] == '2') {
        set_error(5);
        return INVALID_HANDLE_VALUE;
    }
    handles_open++;
    return &handles[is_disk ? DISK : wanted[2 * BATTERY_DIGIT] - '0'];
}

EXPORT BOOL WINAPI Stub_CloseHandle(HANDLE handle) {
    if ((char *)handle < handles || (char *)handle > handles + DISK) return fail(6);
    handles_open--;
    return 1;
}

static BOOL give(const void *reply, DWORD size, void *out, DWORD room, DWORD *given) {
    *given = 0;
    if (room < size) return fail(122);
    memcpy(out, reply, size);
    *given = size;
    return 1;
}

static BOOL give_wide(const char *text, void *out, DWORD room, DWORD *given) {
    unsigned char wide[2 * (LONG_SERIAL + 1)];
    put_wide(wide, text);
    return give(wide, (DWORD)(2 * (strlen(text) + 1)), out, room, given);
}

static BOOL battery_level(
    long port, ULONG level, void *out, DWORD room, DWORD *given) {
    BATTERY_INFORMATION told = {0};
    BATTERY_MANUFACTURE_DATE date = {15, 3, 2023};
    ULONG tenths = 3035;
    char serial[LONG_SERIAL + 1];
    switch (level) {
    case 0:
        told.Capabilities = BATTERY_SYSTEM_BATTERY;
        memcpy(told.Chemistry, "LION", 4);
        told.DesignedCapacity = 57000;
        told.FullChargedCapacity = port == 3 ? 56000 : 49020;
        told.CycleCount = 212;
        return give(&told, sizeof told, out, room, given);
    case 2: return give(&tenths, 4, out, room, given);
    case 4: return give_wide("QM57-3S", out, room, given);
    case 5: return give(&date, sizeof date, out, room, given);
    case 8:
        memset(serial, '0' + (int)port, LONG_SERIAL);
        serial[port ? 8 : LONG_SERIAL] = 0;
        return give_wide(serial, out, room, given);
    default: return fail(1);
    }
}

static BOOL battery(
    long port, DWORD code, const void *in, DWORD size, void *out, DWORD room,
    DWORD *given) {
    ULONG tag = port == 3 ? (ULONG)tag_of_3 : 7;
    BATTERY_STATUS status = {1, 41200, 11873, 0};
    const BATTERY_QUERY_INFORMATION *query = in;
    const BATTERY_WAIT_STATUS *wait = in;
    if (code == IOCTL_BATTERY_QUERY_TAG) {
        if (size != sizeof(ULONG) || *(const ULONG *)in) return fail(87);
        return port == 1 ? fail(2) : give(&tag, sizeof tag, out, room, given);
    }
    if (code == IOCTL_BATTERY_QUERY_STATUS) {
        if (size != sizeof *wait || wait->Timeout) return fail(87);
        if (wait->BatteryTag != tag) return fail(2);
        return give(&status, sizeof status, out, room, given);
    }
    if (code != IOCTL_BATTERY_QUERY_INFORMATION || size != sizeof *query) return fail(87);
    if (query->BatteryTag != tag) return fail(2);
    if (port == 3 && query->InformationLevel == 4) tag_of_3 = 9;
    return battery_level(port, (ULONG)query->InformationLevel, out, room, given);
}

static BOOL disk(
    DWORD code, const void *in, DWORD size, void *out, DWORD room, DWORD *given) {
    const STORAGE_PROPERTY_QUERY *query = in;
    STORAGE_DEVICE_NUMBER number = {7, 0, 0};
    DISK_GEOMETRY_EX geometry = {0};
    struct { STORAGE_DEVICE_DESCRIPTOR head; char model[16], serial[12]; } told = {0};
    geometry.DiskSize.QuadPart = 512110190592LL;
    if (code == IOCTL_STORAGE_GET_DEVICE_NUMBER)
        return give(&number, sizeof number, out, room, given);
    if (code == IOCTL_DISK_GET_DRIVE_GEOMETRY_EX)
        return give(&geometry, sizeof geometry, out, room, given);
    if (code != IOCTL_STORAGE_QUERY_PROPERTY || size != sizeof *query
        || query->PropertyId || query->QueryType)
        return fail(87);
    told.head.Size = sizeof told;
    told.head.ProductIdOffset = (DWORD)((char *)told.model - (char *)&told);
    told.head.SerialNumberOffset = (DWORD)((char *)told.serial - (char *)&told);
    told.head.BusType = 17;
    strcpy(told.model, "Larkspur N512");
    strcpy(told.serial, "  LK0042  ");
    return give(&told, sizeof told, out, room, given);
}

EXPORT BOOL WINAPI Stub_DeviceIoControl(
    HANDLE handle, DWORD code, void *in, DWORD size, void *out, DWORD room,
    DWORD *given, void *overlapped) {
    long port = (long)((char *)handle - handles);
    if (overlapped || port < 0 || port > DISK) return fail(87);
    if (port == DISK) return disk(code, in, size, out, room, given);
    return battery(port, code, in, size, out, room, given);
}

EXPORT UINT WINAPI Stub_GetSystemFirmwareTable(
    DWORD provider, DWORD id, void *table, DWORD size) {
    /* A header, one structure of type 1 without texts, the end mark. */
    unsigned char raw[8 + 29 + 6] = {0, 3, 4, 0, 35, 0, 0, 0, 1, 27};
    if (provider != 0x52534D42 || id) { set_error(87); return 0; }
    memset(raw + 8 + 8, 0x11, 16);
    raw[8 + 8] = 0x33;
    raw[8 + 29] = 127;
    raw[8 + 30] = 4;
    /* The first size told is too small, as if the table had grown since. */
    if (!table) return 20;
    if (size >= sizeof raw) memcpy(table, raw, sizeof raw);
    return sizeof raw;
}

EXPORT BOOL WINAPI Stub_GetSystemPowerStatus(SYSTEM_POWER_STATUS *status) {
    memset(status, 0xFF, sizeof *status);
    return 1;
}

EXPORT BOOL WINAPI Stub_GetPhysicallyInstalledSystemMemory(ULONGLONG *kib) {
    (void)kib;
    return fail(13);
}

EXPORT BOOL WINAPI Stub_GlobalMemoryStatusEx(MEMORYSTATUSEX *status) {
    if (status->dwLength != sizeof *status) return fail(87);
    status->ullTotalPhys = 16000000000ULL;
    return 1;
}

EXPORT BOOL WINAPI Stub_GetComputerNameExW(int which, WCHAR *text, DWORD *characters) {
    char name[NAME + 1];
    if (which != 1) return fail(87);
    memset(name, 'r', NAME);
    name[NAME] = 0;
    if (*characters < NAME + 1) { *characters = NAME + 1; return fail(234); }
    put_wide(text, name);
    *characters = NAME;
    return 1;
}
