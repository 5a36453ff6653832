"""What the laptop says of itself."""

from fadewatch_agent.readers.files import SystemFiles, number, read_text
from fadewatch_agent.readers.smbios import first, uuid_text
from fadewatch_agent.readers.tables import Firmware
from fadewatch_common.report import Laptop

HOSTNAME_LENGTH = 253
_UNSET_HOSTNAME = "(none)"

_LOCK_BIT = 0x80
"""Bit 7 of the chassis type says that a lock is present (DSP0134, 7.4)."""

_CHASSIS = {
    3: "desktop",
    4: "low profile desktop",
    5: "pizza box",
    6: "mini tower",
    7: "tower",
    8: "portable",
    9: "laptop",
    10: "notebook",
    11: "hand held",
    12: "docking station",
    13: "all in one",
    14: "sub notebook",
    15: "space-saving",
    16: "lunch box",
    17: "main server chassis",
    23: "rack mount chassis",
    24: "sealed-case PC",
    28: "blade",
    30: "tablet",
    31: "convertible",
    32: "detachable",
    33: "IoT gateway",
    34: "embedded PC",
    35: "mini PC",
    36: "stick PC",
}
"""Chassis types (DSP0134, 7.4.1); 1 is "other" and 2 "unknown"."""

_UNTOLD = (1, 2)


def read_laptop(files: SystemFiles, firmware: Firmware) -> Laptop:
    """Read the laptop's own data, from the tables or from what everyone may read."""
    hostname = read_text(files.proc / "sys/kernel/hostname", HOSTNAME_LENGTH)
    if hostname == _UNSET_HOSTNAME:
        hostname = None
    return laptop_from(firmware, hostname) or _from_ids(files, hostname)


def laptop_from(firmware: Firmware, hostname: str | None) -> Laptop | None:
    """Take the laptop's own data from the tables; None when they tell none."""
    system = first(firmware.tables.of_kind(1)) if firmware.tables else None
    if firmware.tables is None or system is None:
        return None
    chassis = first(firmware.tables.of_kind(3))
    return Laptop(
        hostname=hostname,
        maker=system.text(0x04),
        model=system.text(0x05),
        serial=system.text(0x07),
        board_uuid=uuid_text(system.formatted[0x08:0x18], firmware.smbios),
        chassis=chassis_name(chassis.number(0x05, 1) if chassis else None),
    )


def chassis_name(code: int | None) -> str | None:
    """Return the name of a chassis type; None when the firmware does not tell."""
    bare = (code or 0) & ~_LOCK_BIT
    if not bare or bare in _UNTOLD:
        return None
    return _CHASSIS.get(bare, f"type {bare}")


def _from_ids(files: SystemFiles, hostname: str | None) -> Laptop:
    folder = files.sys / "class/dmi/id"
    return Laptop(
        hostname=hostname,
        maker=read_text(folder / "sys_vendor"),
        model=read_text(folder / "product_name"),
        serial=read_text(folder / "product_serial"),
        board_uuid=_told_uuid(read_text(folder / "product_uuid")),
        chassis=chassis_name(number(read_text(folder / "chassis_type"))),
    )


def _told_uuid(text: str | None) -> str | None:
    if text is None:
        return None
    try:
        raw = bytes.fromhex(text.replace("-", ""))
    except ValueError:
        return None
    # The kernel has put the bytes in the order of the text already.
    return uuid_text(raw, (0, 0))
