"""The calls, made through ctypes."""

import ctypes
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from ctypes import POINTER, byref, c_char_p, c_int, c_uint32, c_uint64, c_void_p, sizeof
from typing import Any, NamedTuple

from fadewatch_agent.readers.windows import layout
from fadewatch_agent.readers.windows.calls import LONGEST_REPLY, CallFailed, Paths

_INVALID_HANDLE = c_void_p(-1).value
_MOST_DEVICES = 256
"""Devices of one kind after which something is wrong; own choice."""
_TRIES = 4
_WIDE = "utf-16-le"
_SYSTEM_FOLDER_ALONE = 0x800
"""LOAD_LIBRARY_SEARCH_SYSTEM32: no library that lies elsewhere is ever loaded."""

_DWORD, _HANDLE, _ADDRESS, _BOOL = c_uint32, c_void_p, c_void_p, c_int
_COUNT = POINTER(c_uint32)
_WIDE_TEXT = c_char_p
"""Wide texts go as bytes: Python's own wide character has another width elsewhere."""

_SETUP = {
    "SetupDiGetClassDevsW": (_HANDLE, (_ADDRESS, _WIDE_TEXT, _HANDLE, _DWORD)),
    "SetupDiEnumDeviceInterfaces": (
        _BOOL,
        (_HANDLE, _ADDRESS, _ADDRESS, _DWORD, _ADDRESS),
    ),
    "SetupDiGetDeviceInterfaceDetailW": (
        _BOOL,
        (_HANDLE, _ADDRESS, _ADDRESS, _DWORD, _COUNT, _ADDRESS),
    ),
    "SetupDiDestroyDeviceInfoList": (_BOOL, (_HANDLE,)),
}
_KERNEL = {
    "CreateFileW": (
        _HANDLE,
        (_WIDE_TEXT, _DWORD, _DWORD, _ADDRESS, _DWORD, _DWORD, _HANDLE),
    ),
    "DeviceIoControl": (
        _BOOL,
        (_HANDLE, _DWORD, _ADDRESS, _DWORD, _ADDRESS, _DWORD, _COUNT, _ADDRESS),
    ),
    "CloseHandle": (_BOOL, (_HANDLE,)),
    "GetSystemFirmwareTable": (c_uint32, (_DWORD, _DWORD, _ADDRESS, _DWORD)),
    "GetSystemPowerStatus": (_BOOL, (_ADDRESS,)),
    "GetPhysicallyInstalledSystemMemory": (_BOOL, (POINTER(c_uint64),)),
    "GlobalMemoryStatusEx": (_BOOL, (_ADDRESS,)),
    "GetComputerNameExW": (_BOOL, (c_int, _ADDRESS, _COUNT)),
}
"""By function, what it returns and takes."""


class Libraries(NamedTuple):
    """Loaded libraries, and how to ask why a call failed."""

    kernel: Any
    setup: Any
    last_error: Callable[[], int]


if sys.platform == "win32":

    def system_libraries() -> Libraries:
        """Load the system's own libraries, from the system's own folder."""

        def load(name: str) -> ctypes.WinDLL:
            return ctypes.WinDLL(
                name, use_last_error=True, winmode=_SYSTEM_FOLDER_ALONE
            )

        return Libraries(
            load("kernel32.dll"), load("setupapi.dll"), ctypes.get_last_error
        )


class SystemCalls:
    """Calls of Windows through loaded libraries."""

    __slots__ = ("_functions", "_last_error")

    def __init__(self, libraries: Libraries) -> None:
        self._last_error = libraries.last_error
        self._functions: dict[str, Any] = {}
        for library, signatures in (
            (libraries.kernel, _KERNEL),
            (libraries.setup, _SETUP),
        ):
            for name, (result, arguments) in signatures.items():
                function = getattr(library, name)
                function.restype, function.argtypes = result, arguments
                self._functions[name] = function

    def paths(self, kind: bytes) -> Paths:
        """Return the paths of the interfaces of one kind, by its GUID."""
        flags = layout.DIGCF_PRESENT | layout.DIGCF_DEVICEINTERFACE
        guid = ctypes.create_string_buffer(kind, len(kind))
        listing = self._call("SetupDiGetClassDevsW", guid, None, None, flags)
        try:
            return self._listed(listing, guid)
        finally:
            self._functions["SetupDiDestroyDeviceInfoList"](listing)

    def _listed(self, listing: int, guid: Any) -> Paths:
        found: list[str] = []
        failed: list[CallFailed] = []
        for index in range(_MOST_DEVICES):
            entry = layout.SP_DEVICE_INTERFACE_DATA()
            entry.cbSize = sizeof(entry)
            try:
                self._call(
                    "SetupDiEnumDeviceInterfaces",
                    *(listing, None, guid, index, byref(entry)),
                )
            except CallFailed as error:
                if error.code == layout.ERROR_NO_MORE_ITEMS:
                    break
                failed.append(error)
                break
            try:
                found.append(self._path(listing, entry))
            except CallFailed as error:
                failed.append(error)
        return Paths(tuple(found), tuple(failed))

    def _path(self, listing: int, entry: layout.SP_DEVICE_INTERFACE_DATA) -> str:
        name = "SetupDiGetDeviceInterfaceDetailW"
        size = c_uint32(0)
        # Without a buffer the call fails and tells the size that it needs.
        if not self._functions[name](listing, byref(entry), None, 0, byref(size), None):
            code = self._last_error()
            if code != layout.ERROR_INSUFFICIENT_BUFFER:
                raise CallFailed(name, code)
        if not layout.DEVICE_PATH_OFFSET < size.value <= LONGEST_REPLY:
            raise CallFailed(name, layout.ERROR_INSUFFICIENT_BUFFER)
        detail = ctypes.create_string_buffer(size.value)
        c_uint32.from_buffer(detail).value = layout.detail_size()
        self._call(name, listing, byref(entry), detail, size.value, None, None)
        return _text(detail.raw[layout.DEVICE_PATH_OFFSET :])

    @contextmanager
    def opened(self, path: str, access: int) -> "Iterator[_OpenDevice]":
        """Open a device beside everyone else, and close it in any case."""
        share = layout.FILE_SHARE_READ | layout.FILE_SHARE_WRITE
        handle = self._call(
            "CreateFileW",
            *(_wide(path), access, share, None, layout.OPEN_EXISTING, 0, None),
        )
        try:
            yield _OpenDevice(self, handle)
        finally:
            self._functions["CloseHandle"](handle)

    def control(self, handle: int, code: int, request: bytes, room: int) -> bytes:
        """Send a control code; with more room as long as the reply does not fit."""
        name = "DeviceIoControl"
        while True:
            reply = ctypes.create_string_buffer(room)
            given = c_uint32(0)
            if self._functions[name](
                *(handle, code, request, len(request), reply, room),
                *(byref(given), None),
            ):
                return reply.raw[: min(given.value, room)]
            error = self._last_error()
            if error not in _TOO_SMALL or room >= LONGEST_REPLY:
                raise CallFailed(name, error)
            room = min(2 * room, LONGEST_REPLY)

    def firmware_table(self) -> bytes:
        """Return the raw SMBIOS data with its header."""
        name = "GetSystemFirmwareTable"
        size = 0
        for _ in range(_TRIES):
            table = ctypes.create_string_buffer(size) if size else None
            needed = self._functions[name](layout.RSMB, 0, table, size)
            if table is not None and 0 < needed <= size:
                return table.raw[:needed]
            if not needed:
                break
            size = needed
        raise CallFailed(name, self._last_error())

    def power_status(self) -> bytes:
        """Return a SYSTEM_POWER_STATUS."""
        status = layout.SYSTEM_POWER_STATUS()
        self._call("GetSystemPowerStatus", byref(status))
        return bytes(status)

    def installed_memory_kib(self) -> int:
        """Return the memory that is fitted, by the firmware [KiB]."""
        kib = c_uint64(0)
        self._call("GetPhysicallyInstalledSystemMemory", byref(kib))
        return kib.value

    def usable_memory_bytes(self) -> int:
        """Return the memory that the system may use [bytes]."""
        status = layout.MEMORYSTATUSEX()
        status.dwLength = sizeof(status)
        self._call("GlobalMemoryStatusEx", byref(status))
        return int(status.ullTotalPhys)

    def computer_name(self) -> str:
        """Return the DNS host name."""
        name = "GetComputerNameExW"
        characters = c_uint32(64)
        for _ in range(_TRIES):
            text = ctypes.create_string_buffer(2 * characters.value)
            if self._functions[name](
                layout.COMPUTER_NAME_DNS_HOSTNAME, text, byref(characters)
            ):
                return _text(text.raw)
            # It has put the size that it needs in place of ours.
            if self._last_error() not in _TOO_SMALL or characters.value > _LONGEST_NAME:
                break
        raise CallFailed(name, self._last_error())

    def _call(self, name: str, *arguments: object) -> int:
        """Call a function whose result 0 or invalid handle means that it failed."""
        result = self._functions[name](*arguments)
        if not result or (
            result == _INVALID_HANDLE
            and name in ("CreateFileW", "SetupDiGetClassDevsW")
        ):
            raise CallFailed(name, self._last_error())
        return int(result)


_TOO_SMALL = (layout.ERROR_INSUFFICIENT_BUFFER, layout.ERROR_MORE_DATA)
_LONGEST_NAME = 1024
"""Characters of a host name after which something is wrong; DNS allows 253."""


class _OpenDevice:
    """One open device."""

    __slots__ = ("_calls", "_handle")

    def __init__(self, calls: SystemCalls, handle: int) -> None:
        self._calls = calls
        self._handle = handle

    def ask(self, code: int, request: bytes, room: int) -> bytes:
        """Send a control code and return the reply."""
        return self._calls.control(self._handle, code, request, room)


def _wide(text: str) -> bytes:
    # A bytes object ends with one zero byte of its own; a wide text needs two.
    return text.encode(_WIDE, "surrogatepass") + b"\0\0"


def _text(raw: bytes) -> str:
    """Return the wide text up to its end mark."""
    even = raw[: len(raw) & ~1]
    return even.decode(_WIDE, "replace").partition("\0")[0]
