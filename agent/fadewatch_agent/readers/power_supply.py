"""Every pack of /sys/class/power_supply, and whether the laptop is on mains."""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

from fadewatch_agent.readers.files import (
    SystemFiles,
    clean,
    number,
    read_bytes,
    read_text,
    reason,
)
from fadewatch_agent.readers.pack import pack_from
from fadewatch_agent.readers.snapshot import Attributes, take_snapshot
from fadewatch_common.report import MAX_PACKS, Pack

SETTLE_SECONDS = 1.2
"""Pause between two looks at a pack that is new in its slot [s].

Linux keeps the remaining charge and the rate of an ACPI pack for 1 s, also across a
swap (drivers/acpi/battery.c, cache_time).
"""

_FOLDER = "class/power_supply"
_LOOKS = 3
_NOT_READINGS = frozenset({"name", "type", "scope", "present", "status"})
_SLOT_LENGTH = 64
_MAINS_TYPES = ("Mains", "USB", "Wireless")

Identities = Mapping[str, str]
"""By slot, what told a pack apart when it was last reported."""


class Supplies(NamedTuple):
    """What the power supplies say, with what they would not say."""

    packs: tuple[Pack, ...]
    mains_online: bool | None
    remarks: tuple[str, ...]


class _Look(NamedTuple):
    packs: tuple[Pack, ...]
    remarks: tuple[str, ...]


def read_supplies(
    files: SystemFiles, known: Identities | None, pause: Callable[[float], None]
) -> Supplies:
    """Read all packs; a pack that is new in its slot is read until two looks agree.

    Parameters
    ----------
    known
        Identities at the last report; None when there was none.
    pause
        Waits for a number of seconds.
    """
    look = _settled(files, known, pause)
    kept, beyond = look.packs[:MAX_PACKS], look.packs[MAX_PACKS:]
    remarks = [*look.remarks, *(f"{p.slot}: one pack too many" for p in beyond)]
    return Supplies(kept, _mains_online(files), tuple(remarks))


def identity(pack: Pack) -> str:
    """Return what tells this pack apart from another one in the same slot."""
    parts = (
        pack.maker,
        pack.model,
        pack.serial,
        pack.made_on,
        pack.unit,
        pack.design_capacity,
    )
    return "|".join("" if part is None else str(part) for part in parts)


def _settled(
    files: SystemFiles, known: Identities | None, pause: Callable[[float], None]
) -> _Look:
    look = _look(files)
    if known is None or all(known.get(p.slot) == identity(p) for p in look.packs):
        return look
    disagreeing: set[str] = set()
    for _ in range(_LOOKS - 1):
        pause(SETTLE_SECONDS)
        before, look = look, _look(files)
        disagreeing = _disagreeing(before.packs, look.packs)
        if not disagreeing:
            return look
    steady = tuple(p for p in look.packs if p.slot not in disagreeing)
    unsteady = (
        f"{slot}: looks {SETTLE_SECONDS} s apart disagree, as while a pack is being "
        "exchanged; not taken"
        for slot in sorted(disagreeing)
    )
    return _Look(steady, (*look.remarks, *unsteady))


def _disagreeing(before: tuple[Pack, ...], after: tuple[Pack, ...]) -> set[str]:
    """Name the slots whose pack or lasting figures changed between two looks."""
    first, second = ({p.slot: _lasting(p) for p in look} for look in (before, after))
    return {slot for slot in first | second if first.get(slot) != second.get(slot)}


def _lasting(pack: Pack) -> tuple[object, ...]:
    return (
        identity(pack),
        pack.full_charge_capacity,
        pack.cycle_count,
    )


def _look(files: SystemFiles) -> _Look:
    packs: list[Pack] = []
    remarks: list[str] = []
    for folder in files.folders(_FOLDER):
        slot = clean(folder.name, _SLOT_LENGTH) or "unnamed"
        attributes = _battery(folder)
        if attributes is None:
            continue
        if not attributes.keys() - _NOT_READINGS:
            remarks.append(f"{slot}: went away, or gave no value, while it was read")
            continue
        pack = pack_from(slot, attributes)
        packs.append(pack)
        remarks.extend(_missing(pack, folder))
    return _Look(tuple(packs), tuple(remarks))


def _battery(folder: Path) -> Attributes | None:
    """Return a pack's attributes; None for all that is no pack of this laptop.

    Empty attributes mean that it was a pack and cannot be read any more.
    """
    attributes = take_snapshot(folder)
    if not attributes:
        return {} if not folder.exists() else None
    if attributes.get("type", "").strip() != "Battery":
        return None
    # Mice, keyboards and pens are batteries too, of scope Device.
    if attributes.get("scope", "").strip() == "Device":
        return None
    if number(attributes.get("present")) == 0:
        return None
    return attributes


def _missing(pack: Pack, folder: Path) -> Iterator[str]:
    """Say which capacity is missing and why, as wear cannot be told without it."""
    if pack.unit == "relative" and pack.design_capacity is None:
        yield f"{pack.slot}: gives only a percentage, so its wear cannot be told"
        return
    for words, value, ending in (
        ("design capacity", pack.design_capacity, "full_design"),
        ("full-charge capacity", pack.full_charge_capacity, "full"),
    ):
        if value is None:
            yield f"{pack.slot}: {words} unknown: {_why_missing(folder, ending)}"


def _why_missing(folder: Path, ending: str) -> str:
    why = "it is not offered"
    for prefix in ("energy", "charge"):
        try:
            shown = clean(read_bytes(folder / f"{prefix}_{ending}"))
        except FileNotFoundError:
            continue
        except OSError as error:
            why = reason(error)
        else:
            why = f"the kernel gives {shown or 'a blank'}"
    return why


def _mains_online(files: SystemFiles) -> bool | None:
    """Say whether any supply feeds the laptop; None when there is none to ask."""
    states = [
        online
        for attributes in map(take_snapshot, filter(_is_mains, files.folders(_FOLDER)))
        if attributes.get("scope", "").strip() != "Device"
        and (online := number(attributes.get("online"))) is not None
    ]
    return any(state > 0 for state in states) if states else None


def _is_mains(folder: Path) -> bool:
    # Only the type is read of packs here: their other attributes may be slow.
    return (read_text(folder / "type") or "").startswith(_MAINS_TYPES)
