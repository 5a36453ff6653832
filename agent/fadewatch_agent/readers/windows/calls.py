"""The few calls of Windows that the readers make, and how a call fails."""

from contextlib import AbstractContextManager
from ctypes import Structure, sizeof
from typing import NamedTuple, Protocol, TypeVar

from fadewatch_agent.errors import AgentError
from fadewatch_agent.readers.windows import layout

LONGEST_REPLY = 65_536
"""Most bytes that a reply may grow to; own choice."""

_WORDS = {
    layout.ERROR_INVALID_FUNCTION: "the driver does not offer it",
    layout.ERROR_FILE_NOT_FOUND: "it is not there",
    layout.ERROR_ACCESS_DENIED: "access is denied",
    layout.ERROR_NOT_READY: "the device is not ready",
    layout.ERROR_GEN_FAILURE: "the device does not work",
    layout.ERROR_NOT_SUPPORTED: "it is not supported",
    layout.ERROR_INVALID_PARAMETER: "the driver does not know the question",
    layout.ERROR_INSUFFICIENT_BUFFER: "the answer does not end",
    layout.ERROR_MORE_DATA: "the answer does not end",
    layout.ERROR_NO_MORE_ITEMS: "there is no more",
    layout.ERROR_IO_DEVICE: "the hardware did not answer",
    layout.ERROR_DEVICE_NOT_CONNECTED: "the device is gone",
    layout.ERROR_NOT_FOUND: "the driver has no such thing",
}

Record = TypeVar("Record", bound=Structure)


class CallFailed(AgentError, OSError):
    """A call of Windows failed.

    Attributes
    ----------
    code
        What GetLastError gave.
    """

    def __init__(self, call: str, code: int) -> None:
        words = _WORDS.get(code, "it failed")
        super().__init__(f"{call}: {words} (error {code})")
        self.code = code


class OddReply(AgentError, ValueError):
    """A reply is shorter than what it stands for."""

    def __init__(self, name: str, expected: int, got: int) -> None:
        super().__init__(f"{name}: {got} bytes came in place of {expected}")


class Device(Protocol):
    """An open device."""

    def ask(self, code: int, request: bytes, room: int) -> bytes:
        """Send a control code and return the reply.

        Parameters
        ----------
        room
            Bytes expected; the call is made again with more where they do not do.

        Raises
        ------
        CallFailed
            The driver refuses.
        """


class Paths(NamedTuple):
    """The devices of one kind that are present, and those that gave no path."""

    found: tuple[str, ...]
    failed: tuple[CallFailed, ...] = ()


class Calls(Protocol):
    """What is asked of Windows. Every call may raise CallFailed."""

    def paths(self, kind: bytes) -> Paths:
        """Return the paths of the interfaces of one kind, by its GUID."""

    def opened(self, path: str, access: int) -> AbstractContextManager[Device]:
        """Open a device beside everyone else, and close it in any case."""

    def firmware_table(self) -> bytes:
        """Return the raw SMBIOS data with its header."""

    def power_status(self) -> bytes:
        """Return a SYSTEM_POWER_STATUS."""

    def installed_memory_kib(self) -> int:
        """Return the memory that is fitted, by the firmware [KiB]."""

    def usable_memory_bytes(self) -> int:
        """Return the memory that the system may use [bytes]."""

    def computer_name(self) -> str:
        """Return the DNS host name."""


def decoded(kind: type[Record], reply: bytes, least: int = 0) -> Record:
    """Read a structure from the beginning of a reply.

    Parameters
    ----------
    least
        Bytes that must be there, where a structure may end with what is not needed;
        0 for all of it.

    Raises
    ------
    OddReply
        The reply is too short.
    """
    size = sizeof(kind)
    if len(reply) < (least or size):
        raise OddReply(kind.__name__, least or size, len(reply))
    return kind.from_buffer_copy(reply.ljust(size, b"\0"))
