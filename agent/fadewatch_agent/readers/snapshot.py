"""One consistent look at a power supply's attributes."""

from pathlib import Path

from fadewatch_agent.readers.files import read_bytes

Attributes = dict[str, str]
"""Lower-case attribute names, as the files are called, and their raw text."""

_PREFIX = "POWER_SUPPLY_"
# A pack that is being pulled shows for a moment its name, type and status alone.
_NOT_READINGS = frozenset({"name", "type", "scope", "status"})

SINGLE_FILES = (
    "status",
    "present",
    "technology",
    "manufacturer",
    "model_name",
    "serial_number",
    "charge_full_design",
    "charge_full",
    "charge_now",
    "energy_full_design",
    "energy_full",
    "energy_now",
    "capacity",
    "cycle_count",
    "voltage_now",
    "voltage_min_design",
    "voltage_max_design",
    "power_now",
    "current_now",
    "temp",
    "capacity_error_margin",
    "manufacture_year",
    "manufacture_month",
    "manufacture_day",
)
_BESIDE_UEVENT = ("type", "scope", "charge_control_end_threshold")
"""Attributes that some kernels keep out of ``uevent``."""


def take_snapshot(folder: Path) -> Attributes:
    """Return the attributes of one power supply, of one moment if possible.

    One read of ``uevent`` is one look, and the cheapest: single files may each ask a
    slow controller, and a pack that is being exchanged gives a mixture. The kernel
    leaves ``uevent`` empty when one attribute fails; then single files are read.
    """
    attributes = parse_uevent(_raw(folder / "uevent") or b"")
    if not attributes.keys() - _NOT_READINGS:
        attributes |= _single_files(folder, SINGLE_FILES)
    return _single_files(folder, _BESIDE_UEVENT) | attributes


def parse_uevent(raw: bytes) -> Attributes:
    """Split the lines of ``uevent``.

    Of a name that comes twice the first counts: the kernel writes numbers before
    strings, and a string with a line end in it cannot pass for a number.
    """
    attributes: Attributes = {}
    for line in raw.decode("utf-8", "replace").split("\n"):
        name, equals, value = line.partition("=")
        if equals and name.startswith(_PREFIX):
            attributes.setdefault(name.removeprefix(_PREFIX).lower(), value)
    return attributes


def _single_files(folder: Path, names: tuple[str, ...]) -> Attributes:
    found = {name: _raw(folder / name) for name in names}
    return {
        name: raw.decode("utf-8", "replace").removesuffix("\n")
        for name, raw in found.items()
        if raw is not None
    }


def _raw(path: Path) -> bytes | None:
    try:
        return read_bytes(path)
    except OSError:
        return None
