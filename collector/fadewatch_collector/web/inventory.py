"""Memory and drives of a laptop in words, from the newest inventory."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fadewatch_collector.web.words import (
    DRIVE_KIND_WORDS,
    joined,
    memory_size,
    storage_size,
)


@dataclass(frozen=True, slots=True)
class SlotLine:
    """One memory slot."""

    locator: str
    size: str
    kind: str
    module: str


@dataclass(frozen=True, slots=True)
class DriveLine:
    """One drive."""

    name: str
    size: str
    kind: str
    model: str
    serial: str | None


def slot_lines(memory: Mapping[str, Any] | None) -> list[SlotLine]:
    """Return a line for each memory slot; none when the system does not say."""
    return [_slot_line(slot) for slot in (memory or {}).get("slots", ())]


def drive_lines(drives: Sequence[Mapping[str, Any]] | None) -> list[DriveLine]:
    """Return a line for each drive."""
    return [_drive_line(drive) for drive in drives or ()]


def _slot_line(slot: Mapping[str, Any]) -> SlotLine:
    size_mib, speed = slot["size_mib"], slot.get("speed_mts")
    return SlotLine(
        locator=slot["locator"],
        size=memory_size(size_mib) if size_mib else "empty",
        kind=joined(
            slot.get("kind"),
            f"{speed} MT/s" if speed else None,
            "soldered" if slot.get("soldered") else None,
        ),
        module=joined(slot.get("maker"), slot.get("part")),
    )


def _drive_line(drive: Mapping[str, Any]) -> DriveLine:
    return DriveLine(
        name=drive["name"],
        size=storage_size(drive["size_bytes"]),
        kind=DRIVE_KIND_WORDS[drive.get("kind", "unknown")],
        model=joined(drive.get("model")),
        serial=drive.get("serial"),
    )
