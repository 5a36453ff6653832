"""What SMBIOS type 22 adds to a pack: a cross-check, and a few fillings.

The record is written at start-up and knows no full-charge capacity. After a swap it
describes the pack that is gone, so it fills a gap only where serials agree.
"""

from dataclasses import replace
from datetime import date
from typing import NamedTuple

from fadewatch_agent.readers.smbios import Structure, Tables
from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import FIRMWARE_RECORD, Pack
from fadewatch_common.smart_battery import unpack_date

_PORTABLE_BATTERY = 22
_DESIGN_TOLERANCE = 0.05
"""Difference of design capacities that is worth a remark [fraction]. Own choice."""

_CHEMISTRIES = {
    3: "lead acid",
    4: "NiCd",
    5: "NiMH",
    6: "Li-ion",
    7: "zinc air",
    8: "Li-poly",
}
"""Chemistry codes (DSP0134, 7.23.1), in the words of Linux where it has one."""


class PortableBattery(NamedTuple):
    """One type 22 record."""

    serials: tuple[str, ...]
    design_capacity_mwh: int | None
    design_voltage_mv: int | None
    chemistry: str | None
    made_on: date | None


def portable_battery(structure: Structure) -> PortableBattery:
    """Decode a record of type 22 (DSP0134, 7.23)."""
    design = structure.number(0x0A, 2) or 0
    # The multiplier came with SMBIOS 2.2; older records end before it.
    multiplier = structure.number(0x15, 1) or 1
    code = structure.number(0x09, 1) or 0
    return PortableBattery(
        serials=tuple(_serials(structure)),
        design_capacity_mwh=design * multiplier or None,
        design_voltage_mv=structure.number(0x0C, 2) or None,
        chemistry=_CHEMISTRIES.get(code) or structure.text(0x14),
        made_on=unpack_date(structure.number(0x12, 2) or 0),
    )


def with_portable_battery(
    packs: tuple[Pack, ...], tables: Tables | None
) -> tuple[tuple[Pack, ...], tuple[str, ...]]:
    """Fill gaps of the one pack from the one record; tell where they disagree."""
    records = tables.of_kind(_PORTABLE_BATTERY) if tables else ()
    if len(packs) != 1 or len(records) != 1:
        return packs, ()
    pack, record = packs[0], portable_battery(records[0])
    if not _is_same(pack, record):
        return packs, _disagreement(pack, record)
    return (_filled(pack, record),), _disagreement(pack, record)


def _serials(structure: Structure) -> list[str]:
    """Return the serial as text and as the smart battery's number, as shown."""
    number = structure.number(0x10, 2) or 0
    shown = [structure.text(0x07) or ""]
    if number:
        shown += [str(number), f"{number:04X}"]
    return [serial for serial in shown if not is_placeholder(serial)]


def _is_same(pack: Pack, record: PortableBattery) -> bool:
    serial = (pack.serial or "").lstrip("0").upper()
    return bool(serial) and any(
        serial == told.lstrip("0").upper() for told in record.serials
    )


def _filled(pack: Pack, record: PortableBattery) -> Pack:
    design = record.design_capacity_mwh if pack.unit == "mWh" else None
    return replace(
        pack,
        made_on=pack.made_on or record.made_on,
        chemistry=pack.chemistry or record.chemistry,
        design_voltage_mv=pack.design_voltage_mv or record.design_voltage_mv,
        design_capacity=pack.design_capacity or design,
    )


def _disagreement(pack: Pack, record: PortableBattery) -> tuple[str, ...]:
    told, read = record.design_capacity_mwh, pack.design_capacity
    if pack.unit != "mWh" or not told or not read:
        return ()
    if abs(told - read) <= _DESIGN_TOLERANCE * read:
        return ()
    said = f"{told} mWh {FIRMWARE_RECORD}"
    return (f"{pack.slot}: design capacity is {read} mWh, but {said}",)
