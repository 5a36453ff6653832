"""The SMBIOS tables of this system, or why they cannot be read."""

from collections.abc import Callable
from typing import NamedTuple

from fadewatch_agent.errors import DamagedTables
from fadewatch_agent.readers.files import SystemFiles, read_bytes, reason
from fadewatch_agent.readers.smbios import Tables, decode, version

_FOLDER = "firmware/dmi/tables"

IN_TABLES = "memory slots, serial and board UUID are in them"


class Firmware(NamedTuple):
    """What the firmware's tables gave.

    Attributes
    ----------
    tables
        The decoded tables; None when they cannot be read.
    smbios
        Version of SMBIOS, or None when it is not told.
    remarks
        What could not be read, and why.
    """

    tables: Tables | None
    smbios: tuple[int, int] | None = None
    remarks: tuple[str, ...] = ()


def read_firmware(files: SystemFiles) -> Firmware:
    """Read and decode the tables, which Linux shows to root alone."""
    try:
        table = _read(files, "DMI")
    except OSError as error:
        return Firmware(None, remarks=(_unread(error),))
    return firmware_from(table, lambda: _version(files))


def firmware_from(
    table: bytes, smbios: Callable[[], tuple[int, int] | None]
) -> Firmware:
    """Decode the tables; what is damaged becomes a remark.

    Parameters
    ----------
    table
        The structures, one after the other.
    smbios
        Gives the version of SMBIOS, or None when it is not told.
    """
    try:
        tables = decode(table)
    except DamagedTables as damage:
        return Firmware(None, remarks=(str(damage),))
    remarks = () if tables.damage is None else (f"{tables.damage}; the rest is lost",)
    return Firmware(tables, smbios(), remarks)


def _version(files: SystemFiles) -> tuple[int, int] | None:
    try:
        return version(_read(files, "smbios_entry_point"))
    except OSError:
        return None


def _read(files: SystemFiles, name: str) -> bytes:
    """Read a file that is root's, or the copy that was lent; a blank one is none."""
    lent = None if files.lent is None else files.lent / name
    if lent is not None and lent.is_file() and (content := read_bytes(lent)).strip():
        return content
    return read_bytes(files.sys / _FOLDER / name)


def _unread(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "SMBIOS tables: this system offers none"
    return f"SMBIOS tables: {reason(error)}; {IN_TABLES}"
