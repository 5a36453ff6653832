"""What changed in a laptop since its last inventory."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Plain = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Change:
    """One item of the inventory, before and after; None is: was not there."""

    item: str
    before: Any
    after: Any


def memory_totals(memory: Plain | None) -> tuple[int | None, int | None, int | None]:
    """Return total memory [MiB], slots used and slots free; None is unknown."""
    if memory is None:
        return None, None, None
    slots: Sequence[Plain] = memory.get("slots", ())
    if not slots:
        return memory["total_mib"], None, None
    used = sum(1 for slot in slots if slot["size_mib"] > 0)
    return memory["total_mib"], used, len(slots) - used


def storage_total(drives: Sequence[Plain]) -> int | None:
    """Return the size of all built-in drives [bytes]; None when there is none."""
    return sum(drive["size_bytes"] for drive in drives) if drives else None


def memory_changes(before: Plain | None, after: Plain | None) -> list[Change]:
    """Compare two memory inventories, slot by slot.

    An agent that may not read the firmware's tables reports a smaller total and no
    slots; that is no change of hardware, so only slots are compared.
    """
    old, new = _by(before, "slots", "locator"), _by(after, "slots", "locator")
    if not old or not new:
        return []
    return _changes("memory", old, new, ("size_mib", "maker", "part"))


def drive_changes(
    before: Sequence[Plain] | None, after: Sequence[Plain] | None
) -> list[Change]:
    """Compare two lists of drives, by serial where there is one."""
    if not before or not after:
        return []
    old = {_drive_key(drive): drive for drive in before}
    new = {_drive_key(drive): drive for drive in after}
    return _changes("drive", old, new, ("size_bytes", "model", "serial"))


def _drive_key(drive: Plain) -> str:
    return str(drive.get("serial") or drive["name"])


def _by(memory: Plain | None, part: str, key: str) -> dict[str, Plain]:
    return {item[key]: item for item in (memory or {}).get(part, ())}


def _changes(
    item: str, old: Mapping[str, Plain], new: Mapping[str, Plain], keys: Sequence[str]
) -> list[Change]:
    changes = []
    for name in sorted(old.keys() | new.keys()):
        before, after = old.get(name), new.get(name)
        if _facts(before, keys) != _facts(after, keys):
            changes.append(Change(item, before, after))
    return changes


def _facts(entry: Plain | None, keys: Sequence[str]) -> tuple[Any, ...] | None:
    return None if entry is None else tuple(entry.get(key) for key in keys)
