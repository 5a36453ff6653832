"""Every pack of /sys/class/power_supply, and whether the laptop is on mains."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path

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
from fadewatch_agent.readers.supplies import (
    SLOT_LENGTH,
    Identities,
    Look,
    Pause,
    settled,
)
from fadewatch_common.report import Pack

_FOLDER = "class/power_supply"
_NOT_READINGS = frozenset({"name", "type", "scope", "present", "status"})
_MAINS_TYPES = ("Mains", "USB", "Wireless")


def read_supplies(files: SystemFiles, known: Identities | None, pause: Pause) -> Look:
    """Read all packs; a pack that is new in its slot is read until two looks agree.

    Parameters
    ----------
    known
        Identities at the last report; None when there was none.
    pause
        Waits for a number of seconds.
    """
    return settled(partial(_look, files), known, pause)


def _look(files: SystemFiles) -> Look:
    packs: list[Pack] = []
    remarks: list[str] = []
    for folder in files.folders(_FOLDER):
        slot = clean(folder.name, SLOT_LENGTH) or "unnamed"
        attributes = _battery(folder)
        if attributes is None:
            continue
        if not attributes.keys() - _NOT_READINGS:
            remarks.append(f"{slot}: went away, or gave no value, while it was read")
            continue
        pack = pack_from(slot, attributes)
        packs.append(pack)
        remarks.extend(_missing(pack, folder))
    return Look(tuple(packs), _mains_online(files), tuple(remarks))


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
